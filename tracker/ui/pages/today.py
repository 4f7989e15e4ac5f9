"""Today: what is waiting, who was in, what came in between."""

from __future__ import annotations

from datetime import date, timedelta

import streamlit as st

from tracker.record.records import PROGRESS
from tracker.store import Store
from tracker.ui.catching_up import caught_up
from tracker.ui.look import empty
from tracker.ui.navigation import go_to, link
from tracker.ui.parts.demo import demo_button
from tracker.ui.parts.due_view import due_row
from tracker.ui.parts.notices import told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.pictures import small_picture
from tracker.ui.parts.place_view import warn_about_damage
from tracker.ui.parts.room_view import room_notice
from tracker.ui.parts.rows import lift_words, row, visit_row
from tracker.ui.parts.set_aside_view import ask_about_set_aside
from tracker.ui.parts.waiting import drafts_waiting
from tracker.ui.session import open_store
from tracker.words import MADE_UP, ago, as_date
from tracker.workflow.learning import stamp_now

RECENT = 8
DUE, DUE_WITHIN_DAYS = 3, 14
"""How many of those who are due are shown, and how far ahead."""


def page() -> None:
    """The page."""
    begin()
    st.title("Today", anchor=False)
    with told():
        store = open_store()
        warn_about_damage(store)
        if store.is_empty():
            _welcome(store)
            return
        if st.button("New visit", type="primary", key="new-visit"):
            go_to("new_visit")
        room_notice(store)
        drafts_waiting(store, store.drafts.find())
        ask_about_set_aside(store)
        _due(store)
        _recent_visits(store)
        _recent_progress(store)


def _welcome(store: Store) -> None:
    """What an empty studio shows: one drawing, one sentence, what to do."""
    empty(
        "card",
        "Put a grey card beside the hair, take one photo before and one after, "
        "and see how many levels lighter the hair has become.",
    )
    with st.container(horizontal=True, horizontal_alignment="center"):
        if st.button("Add a client", type="primary", key="add-client"):
            go_to("clients", add="1")
        demo_button(store, "Load the demo studio", key="load-demo")
    st.caption(
        "The demo studio holds made-up clients, clearly marked; one click under Studio removes it.",
        text_alignment="center",
    )


def _due(store: Store) -> None:
    """The first few clients due now or soon; nothing where nobody is."""
    today = date.today()
    caught_up()
    soon = store.wear.dues(stamp_now(store), (date.min, today + timedelta(days=DUE_WITHIN_DAYS)))
    if not soon:
        return
    st.header("Due now or soon", anchor=False)
    for due in soon[:DUE]:
        due_row(store, due, contact=False)
    link("due", f"Who is due: all {len(soon)}" if len(soon) > DUE else "Who is due")


def _recent_visits(store: Store) -> None:
    visits = list(store.visits.recent(RECENT))
    st.header("Recent visits", anchor=False)
    if not visits:
        st.markdown("No visits recorded yet.")
    for visit in visits:
        photos = list(store.photos.find(visit_id=visit.id))
        visit_row(store, visit, photos, lift_words(visit, photos))


def _recent_progress(store: Store) -> None:
    photos = store.photos.latest(PROGRESS, RECENT)
    if not photos:
        return
    st.header("Latest progress photos", anchor=False)
    for photo in photos:
        client = store.clients.get(photo.client_id)
        about = f"Progress photo, {ago(as_date(photo.taken_at))}" + (f" · {MADE_UP}" if client.demo else "")
        row(small_picture(photo), photo.id, "client", client.name, about, client=client.id)
