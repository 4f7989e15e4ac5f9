"""My data: older readings, backups, what goes out and in, what was set aside, who was not in for long, erasures."""

from __future__ import annotations

import streamlit as st

from tracker.store import Store, data_folder
from tracker.ui.navigation import link
from tracker.ui.parts.backups_view import backup_list, backup_now
from tracker.ui.parts.exports_view import everything_out
from tracker.ui.parts.notices import told
from tracker.ui.parts.older_readings import older_readings
from tracker.ui.parts.opening import begin
from tracker.ui.parts.place_view import warn_about_damage, warn_about_place
from tracker.ui.parts.receipts import receipts
from tracker.ui.parts.room_view import room_state
from tracker.ui.parts.set_aside_view import set_aside
from tracker.ui.parts.undo import offer_undo
from tracker.ui.parts.words import plain
from tracker.ui.session import open_store
from tracker.words import ago, count, disk_size
from tracker.workflow.clients import USUAL_MONTHS, not_seen_for

_SHOWN = 30


def page() -> None:
    """The page."""
    begin(undo=False)
    st.title("My data", anchor=False)
    with told():
        store = open_store()
        offer_undo(always=True)
        warn_about_damage(store, leads_on=False)
        _place(store)
        older_readings(store)
        st.header("Room", anchor=False)
        room_state(store)
        st.header("Backups", anchor=False)
        backup_now(store)
        backup_list(store)
        st.header("Take everything out", anchor=False)
        everything_out(store)
        st.header("Bring in a list", anchor=False)
        st.markdown("Clients or past visits from a spreadsheet. You see what would be added first.")
        link("bring_in", "Bring in a list")
        set_aside(store)
        _absent(store)
        _damaged(store)
        receipts(store)
        link("studio", "Back to Studio")


def _place(store: Store) -> None:
    usage = store.disk.usage()
    people, visits = count(usage.clients, "client"), count(usage.visits, "visit")
    st.markdown(
        f"Everything stays on this computer: {people}, {visits}, {count(usage.pictures, 'photo file')}, "
        f"{disk_size(usage.bytes)} in this folder."
    )
    st.code(str(data_folder()), language=None, wrap_lines=True)
    warn_about_place()


def _absent(store: Store) -> None:
    st.header("Not seen for long", anchor=False)
    months = st.number_input("Months", 1, 240, USUAL_MONTHS, key="absent-months")
    found = not_seen_for(store, int(months))
    if not found:
        st.markdown("Everybody has been here within this time.")
        return
    st.markdown(
        f"**{count(len(found), 'client')}** not seen for {months} months. Nothing is deleted unless you do it: open a "
        "client to erase the record, or leave it as it is."
    )
    for absent in found[:_SHOWN]:
        with st.container(key=f"line-absent-{absent.client.id}", gap="xsmall"):
            link("client", plain(absent.client.name), client=absent.client.id)
            st.caption(f"last seen {ago(absent.last_seen)}")
    if len(found) > _SHOWN:
        st.caption(f"And {len(found) - _SHOWN} more.")


def _damaged(store: Store) -> None:
    if not st.button("Check every record", key="check-records"):
        return
    damaged = store.damaged_records()
    if not damaged:
        st.success("Every record can be read.")
        return
    kinds = sorted({record.kind for record in damaged})
    st.warning(
        f"{count(len(damaged), 'record')} cannot be read any more ({', '.join(kinds)}). The lists leave them out; an "
        "earlier backup may still hold them."
    )
