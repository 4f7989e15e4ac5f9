"""How much room is left for photos, the limit that a person sets, and a warning in time."""

from __future__ import annotations

import streamlit as st

from tracker.store import NEARLY_FULL_VISITS, Room, Store
from tracker.ui.navigation import link
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.words import plain
from tracker.words import disk_size, noun, roughly

_USUAL, _OWN = "What they already take and half of what is free", "A limit of my own"


def room_notice(store: Store) -> None:
    """On Today, before the room runs out: how much is left, and the way to more."""
    room = store.disk.room()
    if room.visits_left >= NEARLY_FULL_VISITS:
        return
    st.warning(f"{_left_words(room)} {_why(room)}")
    link("data", "Make room")


def room_state(store: Store) -> None:
    """What is used, the limit, how many visits still fit, and how to change the limit."""
    room = store.disk.room()
    st.markdown(f"**{_left_words(room)}** {_basis(room)}")
    st.markdown(_limit_words(room))
    if room.fault:
        st.warning(plain(f"{room.fault} Saving a limit here writes a new file."))
    if room.visits_left < NEARLY_FULL_VISITS:
        st.warning(_ways_out(room))
    with st.expander("Change the limit"):
        _change(store, room)


def _left_words(room: Room) -> str:
    if room.visits_left < 1:
        return "No room is left for the photos of another visit."
    # two digits: more would claim to know what visits to come will take
    about = roughly(room.visits_left)
    return f"Room for about {about:,} more {noun(about, 'visit')}."


def _basis(room: Room) -> str:
    if room.guessed:
        return f"This assumes {disk_size(room.visit_bytes)} a visit, until there are enough of your own."
    return f"Your visits take {disk_size(room.visit_bytes)} on average, progress photos included."


def _limit_words(room: Room) -> str:
    if room.own_limit:
        return f"{disk_size(room.used)} used of the {disk_size(room.limit)} that you allow; {_free(room)}."
    return (
        f"{disk_size(room.used)} used of {disk_size(room.limit)}: what is used and half of what is free, as the disk "
        f"is now. The other half is for the backups. {_free(room)}."
    )


def _free(room: Room) -> str:
    return f"{disk_size(room.free)} free on the disk"


def _why(room: Room) -> str:
    if room.own_limit and room.limit - room.used <= room.free // 2:
        return f"The limit that you set is {disk_size(room.limit)}."
    return f"The disk has {disk_size(room.free)} free, half of it for the backups."


def _ways_out(room: Room) -> str:
    raising = "raise the limit below, " if room.own_limit else ""
    return (
        f"To go on: {raising}remove what you took out (below), delete other things from this disk, or close the "
        "program, move the folder to a larger disk and start it with TRACKER_HOME set to the new place. Backups go to "
        "another disk with TRACKER_BACKUPS. Everything can still be looked at, handed over and erased."
    )


def _change(store: Store, room: Room) -> None:
    with st.form("room-limit", border=False):
        choice = st.radio("Photos and record may take", (_USUAL, _OWN), index=int(room.own_limit), key="limit-kind")
        typed = st.number_input(
            "My own limit, GB", 0.1, 1e6, max(0.1, round(room.limit / 1e9, 1)), step=1.0, format="%.1f", key="limit-gb"
        )
        st.caption("It is also in the file settings.toml in this folder, which any text editor can open.")
        if st.form_submit_button("Save the limit"):
            with told():
                store.disk.set_limit(typed if choice == _OWN else None)
                say_on_next_page("The limit is saved.")
                st.rerun()
