"""A client: how the colour wears, what happened, what was agreed."""

from __future__ import annotations

import streamlit as st

from tracker.record.records import MEASURING, Client
from tracker.store import Store
from tracker.ui.navigation import go_to, link
from tracker.ui.parts.changes_view import what_changed
from tracker.ui.parts.client_care import change_words, erase_for_good
from tracker.ui.parts.consent_view import agreement_state
from tracker.ui.parts.exports_view import hand_out
from tracker.ui.parts.fade_view import fade_of_current_service
from tracker.ui.parts.notices import told
from tracker.ui.parts.older_readings import older_readings
from tracker.ui.parts.opening import begin
from tracker.ui.parts.timeline import timeline
from tracker.ui.parts.waiting import drafts_waiting
from tracker.ui.parts.words import plain, plain_lines
from tracker.ui.session import asked_for, open_store


def page() -> None:
    """The page."""
    begin()
    client_id = asked_for("client")
    if client_id is None:
        st.title("Client", anchor=False)
        st.markdown("Choose a client first.")
        link("clients", "All clients")
        return
    with told():
        store = open_store()
        _client(store, store.clients.get(client_id))


def _client(store: Store, client: Client) -> None:
    st.title(plain(client.name), anchor=False)
    if client.demo:
        st.caption("Made up: part of the demo studio.")
    if client.note:
        st.markdown(plain_lines(client.note))
    _actions(store, client)
    older_readings(store, client.id)
    drafts_waiting(store, store.drafts.find(client.id))
    fade_of_current_service(store, client.id)
    timeline(store, client.id)
    st.header("What the client agreed to", anchor=False)
    agreement_state(store, client.id)
    what_changed(store, client_id=client.id, consents=store.consents.of_client(client.id))
    with st.expander("Change name or note"):
        change_words(store, client)
    with st.expander("Hand over this record"):
        hand_out(store, client)
    with st.expander("Merge with another record of this client"):
        st.markdown("For when the same person was added twice.")
        link("merge", "Find the other record", client=client.id)
    with st.expander("Erase this client"):
        erase_for_good(store, client)


def _actions(store: Store, client: Client) -> None:
    if not store.consents.given(client.id, MEASURING):
        st.warning(
            "No photo may be taken or measured: the client has not agreed to it, or has withdrawn. "
            "If the client agrees now, record it below under “What the client agreed to”."
        )
        return
    with st.container(horizontal=True):
        if st.button("New visit", type="primary", key="new-visit"):
            go_to("new_visit", client=client.id)
        if st.button("Add a progress photo", key="new-progress"):
            go_to("new_visit", client=client.id, kind="progress")
