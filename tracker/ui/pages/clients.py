"""Clients: find one, add one."""

from __future__ import annotations

import streamlit as st

from tracker import workflow
from tracker.errors import TrackerError
from tracker.store import Store
from tracker.ui.look import empty
from tracker.ui.navigation import go_to
from tracker.ui.parts.consent_view import ask_agreement, ask_name, remember_recorder
from tracker.ui.parts.focus import focus_field
from tracker.ui.parts.notices import sorry, told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.rows import client_line, found_visits
from tracker.ui.session import open_store
from tracker.words import count

SHOWN = 60
_ADDING = "add"
_SEARCH = "Find a client or a visit"


def page() -> None:
    """The page."""
    begin()
    st.title("Clients", anchor=False)
    with told():
        store = open_store()
        if st.query_params.get(_ADDING) == "1":
            _add_client(store)
        else:
            _find(store)


def _find(store: Store) -> None:
    search = st.text_input(
        _SEARCH, type="search", placeholder="Name, product, shade or any word", key="find-client", live=True
    )
    focus_field(_SEARCH)
    if st.button("Add a client", key="add-client", type="primary"):
        st.query_params[_ADDING] = "1"
        st.rerun()
    found = list(store.clients.summaries(search or ""))
    if found:
        st.caption(count(len(found), "client"))
    for summary in found[:SHOWN]:
        client_line(store, summary, "client")
    if len(found) > SHOWN:
        st.caption(f"{len(found) - SHOWN} more: type part of the name to find them.")
    if not (search and found_visits(store, search)) and not found:
        _nobody(bool(search))


def _nobody(searched: bool) -> None:
    if searched:
        st.markdown(
            "Nothing found in any client’s name or note, or in any visit. Check the spelling, or add the client."
        )
        return
    empty("empty clients", "No clients yet. Add the first one: all it takes is a name and one agreement.")


def _add_client(store: Store) -> None:
    """The form for a new client; nothing is kept until both the name and the needed agreement are there."""
    st.header("Add a client", anchor=False)
    with st.form("add-client-form", border=False):
        name = st.text_input("Name", max_chars=120, key="new-name")
        note = st.text_area(
            "Note (optional)", max_chars=2000, key="new-note", placeholder="Anything you want to remember"
        )
        st.markdown(
            "Read each statement to the client and tick what the client agrees to. Each can be withdrawn later."
        )
        answers = ask_agreement("new")
        recorder = ask_name("Who asked the client", "new")
        with st.container(horizontal=True):
            adding = st.form_submit_button("Add the client", type="primary", key="new-save")
            leaving = st.form_submit_button("Cancel", key="new-cancel")
    focus_field("Name")
    if leaving:
        st.query_params.clear()
        st.rerun()
    if adding:
        _save(store, (name or "").strip(), (note or "").strip(), answers, recorder)


def _save(store: Store, name: str, note: str, answers: dict[str, bool], recorder: str) -> None:
    try:
        client = workflow.add_client(store, name, note, answers, recorder)
    except TrackerError as error:
        sorry(error)
        return
    remember_recorder(recorder)
    go_to("client", client=client.id)
