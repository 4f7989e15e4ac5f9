"""What was done at a visit, in the colourist's own words."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from tracker import workflow
from tracker.record.records import Draft, Visit
from tracker.store import Store
from tracker.ui.navigation import go_to, link
from tracker.ui.parts.changes_view import what_changed
from tracker.ui.parts.consent_view import remembered_recorder
from tracker.ui.parts.limit_words import agreed_sentences
from tracker.ui.parts.notices import told
from tracker.ui.parts.step_words import cost_words, step_words
from tracker.ui.parts.undo import UNDO_WORDS, remember_deletion
from tracker.ui.parts.waiting import STEP_NAMES
from tracker.ui.parts.words import plain, plain_lines
from tracker.words import day
from tracker.workflow.visits import VISIT


def visit_notes(store: Store, visit: Visit) -> None:
    """What the client said, steps, note and plan of a visit, and the ways to change and delete it."""
    _said("Hair history, in the client’s words", plain_lines(visit.history))
    _said("Starting point, in the client’s words", plain_lines(visit.starting_point))
    steps = [f"{number}. {step_words(step)}" for number, step in enumerate(visit.steps, start=1)]
    _said("What was done", "\n".join(steps))
    cost = cost_words(visit.steps)
    if cost:
        st.caption(plain(f"Products: {cost}, at the prices of that day."))
    _said("Note", plain_lines(visit.note))
    _said("Next time", plain_lines(visit.next_time))
    _said("Agreed until the next visit", plain(agreed_sentences(visit.limits, visit.washes_per_week)))
    what_changed(store, record_id=visit.id)
    link("results", "Past results from starts like this", visit=visit.id)
    if st.button("Change this visit", key=f"change-{visit.id}"):
        with told():
            go_to("new_visit", draft=_change(store, visit).id)
    with st.expander("Delete this visit"):
        _delete(store, visit)


def _said(heading: str, text: str) -> None:
    """A text that is ready for Markdown, under its heading; nothing where it is empty."""
    if text:
        st.markdown(f"**{heading}**")
        st.markdown(text)


def _change(store: Store, visit: Visit) -> Draft:
    """The draft that changes the visit: one already waiting, else a new one at the step for notes, the likeliest."""
    for draft in store.drafts.find(visit.client_id):
        if draft.visit is not None and (draft.visit.id, draft.visit.revision) == (visit.id, visit.revision):
            return draft
    draft = workflow.start_draft(store, visit.client_id, VISIT, visit)
    return workflow.keep_draft(store, replace(draft, step=len(STEP_NAMES) - 1))


def _delete(store: Store, visit: Visit) -> None:
    st.markdown(f"Deletes this visit with its notes, photos and numbers. {UNDO_WORDS}")
    sure = st.checkbox("Yes, delete this visit", key=f"sure-{visit.id}")
    if st.button("Delete", key=f"delete-{visit.id}", disabled=not sure):
        with told():
            remember_deletion(
                store.visits.delete(visit.id, by=remembered_recorder()), f"The visit of {day(visit.on)} is deleted."
            )
            go_to("client", client=visit.client_id)
