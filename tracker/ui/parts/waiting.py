"""Drafts that wait: visits and progress photos that were begun and not yet saved."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import streamlit as st

from tracker import workflow
from tracker.records import PROGRESS, Draft
from tracker.ui.navigation import go_to
from tracker.ui.parts.notices import told
from tracker.ui.parts.undo import remember_deletion
from tracker.ui.parts.words import ago, as_date, plain

if TYPE_CHECKING:
    from tracker.store import Store

STEP_NAMES = ("Photos", "Marks", "Result", "Save")


def drafts_waiting(store: Store, drafts: Iterable[Draft]) -> None:
    """Every draft with a way to go on and a way to throw it away; nothing where there is none."""
    rows = sorted(drafts, key=lambda draft: draft.updated_at, reverse=True)
    if not rows:
        return
    st.header("Waiting for you", anchor=False)
    for draft in rows:
        _line(store, draft)


def _line(store: Store, draft: Draft) -> None:
    what = "Progress photo" if draft.kind == PROGRESS else "Visit"
    step = STEP_NAMES[min(draft.step, len(STEP_NAMES) - 1)].lower()
    name = plain(store.client(draft.client_id).name)
    words, buttons = st.columns([3, 2], vertical_alignment="center")
    words.markdown(f"**{name}**  \n{what}, left at {step} {ago(as_date(draft.updated_at))}")
    with buttons, st.container(horizontal=True, horizontal_alignment="right"):
        if st.button("Continue", key=f"continue-{draft.id}"):
            go_to("new_visit", draft=draft.id)
        if st.button("Throw away", key=f"discard-{draft.id}"):
            with told():
                remember_deletion(workflow.discard_draft(store, draft.id), f"{what} thrown away.")
                st.rerun()
