"""An erasure, and what follows it: every tab is redrawn, no file is offered, the browser drops its pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING
from uuid import uuid4

import streamlit as st

from tracker import workflow
from tracker.errors import NotFound, TrackerError
from tracker.ui import erasures
from tracker.ui.components import hear_of_erasures
from tracker.ui.look import fetch
from tracker.ui.offers import withdraw_offers
from tracker.ui.opened import opened

if TYPE_CHECKING:
    from tracker.store import Receipt, Store

_SHALL_FORGET = "browser-shall-forget"
_TAB = "tab"
_DRAWN_WITH = "erasures-drawn-with"
_OF_ANYBODY = ("small-pictures", "last-deletion")
_SEARCHES = ("find-client", "find-other")


def erase_everywhere(store: Store, client_id: str) -> Receipt:
    """Erase a client, from the record and wherever else this program holds anything of the client.

    Raises
    ------
    NotFound : no such client
    StoreError : where it cannot be erased now
    """
    gone = {client_id, *(visit.id for visit in store.visits.of_client(client_id))}
    gone.update(photo.id for photo in store.photos.find(client_id=client_id))
    for draft in store.drafts.find(client_id):
        gone.update((draft.id, *(photo.id for photo in draft.photos)))
    try:
        return workflow.erase_client(store, client_id)
    finally:
        if _is_gone(store, client_id):  # even if not everything beside the record could be removed yet
            withdraw_offers()
            opened().forget()
            erasures.tell(gone, by=_this_tab())
            st.session_state[_SHALL_FORGET] = True


def _is_gone(store: Store, client_id: str) -> bool:
    try:
        store.clients.get(client_id)
    except NotFound:
        return True
    except TrackerError:  # what cannot be looked up was probably not erased, so windows keep what is typed there
        return False
    return False


def ask_to_forget() -> None:
    """Have the browser drop what it kept of this app, once after an erasure (`server.forgotten`)."""
    if st.session_state.pop(_SHALL_FORGET, False):
        fetch(f"/forgotten/{uuid4().hex}")


def forget_the_erased() -> None:
    """Let go of what this window holds of anybody erased, and listen for the next erasure; before a page is drawn."""
    now = erasures.latest()
    gone = erasures.erased_after(st.session_state.get(_DRAWN_WITH, now))
    if gone:
        for key in [str(key) for key in st.session_state]:
            if key in _OF_ANYBODY or any(identifier in key for identifier in gone):
                del st.session_state[key]
            elif key in _SEARCHES:
                st.session_state[key] = ""  # a name may stand there
    st.session_state[_DRAWN_WITH] = now
    with st.bottom:  # where it takes up no room
        hear_of_erasures(now, _this_tab())


def _this_tab() -> str:
    return str(st.session_state.setdefault(_TAB, uuid4().hex))
