"""Merge: two records of the same client become one."""

from __future__ import annotations

import streamlit as st

from tracker.record.records import Client
from tracker.store import ClientSummary, Store
from tracker.ui.navigation import go_to, link
from tracker.ui.parts.consent_view import PURPOSE_WORDS, ask_name, remember_recorder
from tracker.ui.parts.focus import focus_field
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.words import plain
from tracker.ui.session import asked_for, open_store
from tracker.words import ago, count, listed
from tracker.workflow.merging import MergePlan, merge_clients, plan_merge

_SEARCH = "Find the other record"
_KEY = "find-other"
_OFFERED = 8


def page() -> None:
    """The page."""
    begin()
    st.title("Merge two records", anchor=False)
    with told():
        store = open_store()
        client_id = asked_for("client")
        if client_id is None:
            st.markdown("Open a client first, and choose “Merge with another record” there.")
            link("clients", "All clients")
            return
        client, other_id = store.clients.get(client_id), asked_for("other")
        if other_id is None:
            _choose(store, client)
        else:
            _confirm(store, plan_merge(store, client_id, other_id))
        link("client", f"Back to {plain(client.name)}", client=client_id)


def _choose(store: Store, client: Client) -> None:
    st.markdown(
        "For when the same person was added twice. What the other record holds moves into this one, "
        f"**{plain(client.name)}**."
    )
    st.session_state.setdefault(_KEY, next(iter(client.name.split()), ""))
    search = st.text_input(_SEARCH, type="search", key=_KEY, live=True)
    focus_field(_SEARCH)
    found = [each for each in store.clients.summaries(search or "") if each.client.id != client.id]
    if not found:
        st.markdown("No other client has this in the name or note.")
    for summary in found[:_OFFERED]:
        _offer(summary)
    if len(found) > _OFFERED:
        st.caption(f"{len(found) - _OFFERED} more: type more of the name.")


def _offer(summary: ClientSummary) -> None:
    about = (
        f"{count(summary.visits, 'visit')}, last {ago(summary.last_visit)}" if summary.last_visit else "no visit yet"
    )
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(f"**{plain(summary.client.name)}**  \n{about}")
        if st.button("This one", key=f"other-{summary.client.id}"):
            # not a link: leaving the search field sends its words again, and the choice would be lost
            st.query_params["other"] = summary.client.id
            st.rerun()


def _confirm(store: Store, plan: MergePlan) -> None:
    kept, other = plain(plan.kept.name), plain(plan.other.name)
    parts = [count(plan.visits, "visit"), count(plan.photos, "photo")]
    if plan.drafts:
        parts.append(count(plan.drafts, "unfinished draft"))
    st.markdown(f"**{listed(parts)}** of **{other}** move to **{kept}**, together with every answer about agreement.")
    st.markdown(
        f"The name stays **{kept}**; both notes and both contact notes are kept. After that there is no separate "
        f"record of {other}."
    )
    for purpose in plan.to_ask_again:
        st.warning(
            f"{PURPOSE_WORDS[purpose]}: one record says yes, the other no. "
            "The no counts until you ask the client again."
        )
    st.caption("A merge cannot be undone.")
    recorder = ask_name("Who confirms that both are the same person", "merge")
    sure = st.checkbox("Yes, both are the same person", key="merge-sure")
    if st.button("Merge", key="merge", type="primary", disabled=not sure):
        with told():
            merged = merge_clients(store, plan.kept.id, plan.other.id, recorder)
            remember_recorder(recorder)
            say_on_next_page("The two records are now one.")
            for purpose in merged.to_ask_again:
                say_on_next_page(f"Ask the client again about: {PURPOSE_WORDS[purpose].lower()}.")
            go_to("client", client=merged.client.id)
