"""Compare: show the client what changed."""

from __future__ import annotations

from datetime import date

import streamlit as st

from tracker.compare.photo_set import State
from tracker.record.records import AFTER, BEFORE, Visit
from tracker.store import Store
from tracker.ui.look import empty
from tracker.ui.navigation import link
from tracker.ui.parts.change_view import show_pair
from tracker.ui.parts.details import pair_details, photo_details
from tracker.ui.parts.notices import told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.pair import compare_states, read_unlike, state_in_force
from tracker.ui.parts.reading_view import measured_photo, no_number, reading_swatches
from tracker.ui.parts.repeats import repeats
from tracker.ui.parts.rows import role_photo, visit_row, visit_words
from tracker.ui.parts.visit_notes import visit_notes
from tracker.ui.parts.words import plain
from tracker.ui.session import asked_for, open_store

OFFERED = 20


def page() -> None:
    """The page."""
    begin(undo=False)
    with told():
        store = open_store()
        visit_id = asked_for("visit")
        if visit_id is None:
            _choose(store)
        else:
            _visit(store, store.visits.get(visit_id))


def _choose(store: Store) -> None:
    st.title("Compare", anchor=False)
    visits = [(visit, list(store.photos.find(visit_id=visit.id))) for visit in store.visits.recent(OFFERED)]
    pairs = [(visit, photos) for visit, photos in visits if role_photo(photos, BEFORE) and role_photo(photos, AFTER)]
    if not pairs:
        empty("card", "Nothing to compare yet. Record a visit with a before photo and an after photo.")
        return
    st.markdown("Which visit?")
    for visit, photos in pairs:
        visit_row(store, visit, photos)


def _visit(store: Store, visit: Visit) -> None:
    client = store.clients.get(visit.client_id)
    st.title(plain(client.name), anchor=False)
    st.caption(visit_words(visit, date.today(), made_up=client.demo))
    photos = list(store.photos.find(visit_id=visit.id))
    before, after = state_in_force(photos, BEFORE), state_in_force(photos, AFTER)
    if before is not None and after is not None:
        _pair(store, visit, before, after)
    else:
        _single(store, before or after)
    visit_notes(store, visit)
    link("client", f"All visits of {plain(client.name)}", client=client.id)


def _pair(store: Store, visit: Visit, before: State, after: State) -> None:
    pair = compare_states(before, after, visit)
    show_pair(pair, key="compare-slider")
    if read_unlike(pair):
        link("client", "Measure the older photos again, on the client’s page", client=visit.client_id)
    for word, state in (("Before", before), ("After", after)):
        if no_number(state.standing):
            st.markdown(f"{word}. {plain(no_number(state.standing))}")
        repeats(state, store.photos.save)
    pair_details(pair)


def _single(store: Store, state: State | None) -> None:
    if state is None:
        st.markdown("This visit has no photo.")
        return
    photo = state.standing
    st.subheader("Photographed only before or only after, so there is no lift to show.", anchor=False)
    measured_photo(photo)
    reading_swatches(photo)
    if no_number(photo):
        st.markdown(plain(no_number(photo)))
    repeats(state, store.photos.save)
    photo_details(photo)
