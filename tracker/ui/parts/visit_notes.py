"""What was done at a visit, in the colourist's own words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from tracker import workflow
from tracker.records import Step, Visit
from tracker.ui.navigation import go_to
from tracker.ui.parts.notices import told
from tracker.ui.parts.words import plain, plain_lines, sentence_case
from tracker.workflow.visits import VISIT

if TYPE_CHECKING:
    from tracker.store import Store


def visit_notes(store: Store, visit: Visit) -> None:
    """Steps, note and plan of a visit, and the way to delete it."""
    if visit.steps:
        st.markdown("**What was done**")
        st.markdown("\n".join(f"- {step_words(step)}" for step in visit.steps))
    if visit.note:
        st.markdown("**Note**")
        st.markdown(plain_lines(visit.note))
    if visit.next_time:
        st.markdown("**Next time**")
        st.markdown(plain_lines(visit.next_time))
    if st.button("Change this visit", key=f"change-{visit.id}"):
        with told():
            draft = workflow.start_draft(store, visit.client_id, VISIT, visit)
            go_to("new_visit", draft=draft.id)
    with st.expander("Delete this visit"):
        _delete(store, visit)


def step_words(step: Step) -> str:
    """One step as a line."""
    parts = [f"{plain(sentence_case(step.zone))}: {plain(step.what)}" if step.zone else plain(step.what)]
    if step.product:
        parts.append(plain(step.product))
    if step.minutes is not None:
        parts.append(f"{step.minutes:g} min")
    if step.note:
        parts.append(plain(step.note))
    return ", ".join(parts)


def _delete(store: Store, visit: Visit) -> None:
    st.markdown("Deletes this visit with its notes, photos and numbers. This cannot be undone.")
    sure = st.checkbox("Yes, delete this visit", key=f"sure-{visit.id}")
    if st.button("Delete", key=f"delete-{visit.id}", disabled=not sure):
        with told():
            store.delete_visit(visit.id)
            go_to("client", client=visit.client_id)
