"""Drafts that wait: visits and progress photos that were begun and not yet saved."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import streamlit as st

from tracker.record.records import PROGRESS, ROLES, Draft, Visit
from tracker.store import Store
from tracker.ui.navigation import go_to
from tracker.ui.parts.notices import told
from tracker.ui.parts.pictures import SMALL, photo_words, picture_url
from tracker.ui.parts.rows import thumb
from tracker.ui.parts.undo import remember_deletion
from tracker.ui.parts.words import plain
from tracker.words import day

STEP_NAMES = ("Photos", "Marks", "Result", "Save")


def drafts_waiting(store: Store, drafts: Iterable[Draft]) -> None:
    """Every draft with a way to go on and a way to throw it away; nothing where there is none."""
    rows = _newest_first(drafts)
    if not rows:
        return
    st.header("Waiting for you", anchor=False)
    for draft in rows:
        _line(store, draft, f"**{plain(store.clients.get(draft.client_id).name)}**  \n{left_words(store, draft)}")


def continue_instead(store: Store, drafts: Iterable[Draft]) -> None:
    """What was begun for this client and not finished, before something new is begun; nothing where there is none."""
    rows = _newest_first(drafts)
    if not rows:
        return
    st.markdown("**Not finished yet.** Continue here, or begin something new below.")
    for draft in rows:
        _line(store, draft, left_words(store, draft))
    st.divider()


def visit_changed(store: Store, draft: Draft) -> Visit | None:
    """The visit as it is kept, where the draft changes one; None where it is a new one."""
    if draft.visit is None or not store.visits.has(draft.visit.id):
        return None
    return store.visits.get(draft.visit.id)


def left_words(store: Store, draft: Draft) -> str:
    """What the draft is, at which step it was left and when, ready for Markdown."""
    step = STEP_NAMES[min(draft.step, len(STEP_NAMES) - 1)].lower()
    left = draft.updated_at.astimezone()
    days = (date.today() - left.date()).days
    when = {0: "today", 1: "yesterday"}.get(days, f"on {day(left.date())}")
    return plain(f"{_what(store, draft)}, left at {step} {when} at {left:%H:%M}")


def _newest_first(drafts: Iterable[Draft]) -> list[Draft]:
    return sorted(drafts, key=lambda draft: draft.updated_at, reverse=True)


def _what(store: Store, draft: Draft) -> str:
    if draft.kind == PROGRESS:
        changed_photo = any(store.photos.has(photo.id) for photo in draft.photos)
        return "Changes to a progress photo" if changed_photo else "Progress photo"
    changed = visit_changed(store, draft)
    return "Visit" if changed is None else f"Changes to the visit of {day(changed.on)}"


def _line(store: Store, draft: Draft, words: str) -> None:
    about, buttons = st.columns([3, 2], vertical_alignment="center")
    with about, st.container(horizontal=True, vertical_alignment="center", wrap=False, gap="medium"):
        first = min(draft.photos, key=lambda photo: ROLES.index(photo.role), default=None)
        thumb(None if first is None else (picture_url(first, SMALL), photo_words(first)))
        st.markdown(words)
    with buttons, st.container(horizontal=True, horizontal_alignment="right"):
        if st.button("Continue", key=f"continue-{draft.id}"):
            go_to("new_visit", draft=draft.id)
        if st.button("Throw away", key=f"discard-{draft.id}"):
            with told():
                said = f"{_what(store, draft)} thrown away."
                remember_deletion(store.drafts.delete(draft.id), said)
                st.rerun()
