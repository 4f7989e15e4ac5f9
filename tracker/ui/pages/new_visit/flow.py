"""Which draft is open and at which step; each step has its own file."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import streamlit as st

from tracker.errors import NotFound
from tracker.record.records import MEASURING, PROGRESS, Client, Draft
from tracker.store import Store
from tracker.ui.look import empty, step_bar
from tracker.ui.navigation import go_to, link
from tracker.ui.pages.new_visit import gone, marks, news, photos, result, save
from tracker.ui.pages.new_visit.draft_state import LAST_STEP, Work, catch_up, go_to_step
from tracker.ui.pages.new_visit.earlier_marks import say_marks_start_anew, start_marks_anew
from tracker.ui.pages.new_visit.tab import tab_of
from tracker.ui.parts.notices import told
from tracker.ui.parts.opening import begin, draft_open
from tracker.ui.parts.rows import client_line
from tracker.ui.parts.undo import UNDO_WORDS, remember_deletion
from tracker.ui.parts.waiting import STEP_NAMES, continue_instead
from tracker.ui.parts.words import plain
from tracker.ui.session import asked_for, open_store
from tracker.words import day
from tracker.workflow.visits import VISIT

LATELY = 8
"""Clients that are offered by name without a search."""

_STEPS = (photos.show, marks.show, result.show, save.show)


def page() -> None:
    """The page."""
    shown = draft_open()
    begin()
    with told():
        store = open_store()
        draft_id, client_id = asked_for("draft"), asked_for("client")
        if draft_id is not None:
            _draft(store, draft_id, anew=shown != draft_id)
        elif client_id is not None:
            kind = PROGRESS if st.query_params.get("kind") == PROGRESS else VISIT
            begun = catch_up(client_id, kind)  # photos were kept, and the run was cut short before the address was set
            if begun is not None:
                _draft(store, begun, anew=shown != begun)
                return
            _work(Work(store, store.clients.get(client_id), kind, None))
        else:
            _who(store)


def _draft(store: Store, draft_id: str, *, anew: bool) -> None:
    try:
        draft = store.drafts.get(draft_id)
    except NotFound:
        gone.say_what_became_of_it(store, draft_id)
        return
    catch_up(draft.client_id, draft.kind)
    tab = tab_of(draft, anew=anew)
    if tab.draft.revision != draft.revision:
        tab.hear(draft)
    work = Work(store, store.clients.get(draft.client_id), draft.kind, draft, tab)
    start_marks_anew(work)
    work = replace(work, draft=tab.draft)
    gone.remember(tab.draft, changing=work.kept_visit is not None)
    _work(work)


def _who(store: Store) -> None:
    """Choosing the client, for those who came by the menu."""
    st.title("New visit", anchor=False)
    summaries = store.clients.summaries("")
    if not summaries:
        empty("empty clients", "Add a client first; it takes a name and one agreement.")
        if st.button("Add a client", type="primary", key="add-client"):
            go_to("clients", add="1")
        return
    st.markdown("Who is in the chair?")
    names = {summary.client.id: summary.client.name for summary in summaries}
    chosen = st.selectbox(
        "Find a client", list(names), index=None, format_func=names.__getitem__, placeholder="Name", key="who"
    )
    if chosen:
        go_to("new_visit", client=chosen)
    if st.button("Add a client", key="add-client"):
        go_to("clients", add="1")
    lately = sorted(summaries, key=lambda summary: summary.last_visit or date.min, reverse=True)[:LATELY]
    for summary in lately:
        client_line(store, summary, "new_visit")


def _work(work: Work) -> None:
    changed = work.kept_visit
    if changed is not None:
        st.title(f"Change the visit of {day(changed.on)}", anchor=False)
    else:
        st.title("Progress photo" if work.kind == PROGRESS else "New visit", anchor=False)
    st.caption(plain(work.client.name))
    if not work.store.consents.given(work.client.id, MEASURING):
        _no_agreement(work.client)
        return
    step = min(work.tab.step, LAST_STEP) if work.tab is not None else 0
    if work.tab is not None and step != LAST_STEP:
        work.tab.first = work.tab.words = None
    if work.draft is None:
        continue_instead(
            work.store, [draft for draft in work.store.drafts.find(work.client.id) if draft.kind == work.kind]
        )
    step_bar(STEP_NAMES, step)
    news.show(work)
    say_marks_start_anew(work)
    _STEPS[step](work)
    if work.draft is not None:
        _leave(work, work.draft, step)


def _no_agreement(client: Client) -> None:
    st.warning("No photo may be taken or measured: the client has not agreed to it, or has withdrawn.")
    link("client", "Record the agreement on the client’s page", client=client.id)


def _leave(work: Work, draft: Draft, step: int) -> None:
    """The ways out of an unfinished job."""
    changing = work.kept_visit is not None or work.changes_kept_photo
    kept = "photo" if work.changes_kept_photo else "visit"
    what = "these changes" if changing else "this draft"
    st.divider()
    st.caption(f"You can leave at any time: {'the changes are' if changing else 'the draft is'} kept under Today.")
    with st.container(horizontal=True):
        if step > 0 and st.button("Back one step", key="step-back"):
            go_to_step(work, step - 1)
        with st.popover(f"Throw {what} away"):
            goes = f"only these changes; the {kept} stays as it was saved" if changing else "its photos and notes"
            st.markdown(f"Deletes {goes}. {UNDO_WORDS}")
            if st.button("Throw away", key="discard"):
                said = "The changes were thrown away." if changing else "The draft is deleted."
                remember_deletion(work.store.drafts.delete(draft.id), said)
                go_to("client", client=work.client.id)
