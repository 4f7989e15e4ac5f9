"""An erasure, and what follows it: every tab is redrawn, no file is offered, the browser drops its pictures."""

from __future__ import annotations

from dataclasses import dataclass, field
from uuid import uuid4

import streamlit as st

from tracker.errors import NotFound, TrackerError
from tracker.store import Erasure, Store
from tracker.ui import erasures
from tracker.ui.components.erasures import hear_of_erasures
from tracker.ui.look import fetch
from tracker.ui.offers import withdraw_offers
from tracker.ui.opened import OPENED
from tracker.ui.parts.held import ANYBODY, held

_SEARCHES = ("find-client", "find-other")


@dataclass
class _Window:
    """What this window knows of erasures.

    Attributes
    ----------
    name : str, unlike that of any other window
    drawn_with : int or None, the latest erasure that its page was drawn after; None before its first page
    shall_forget : bool, True where the browser is still to drop what it kept
    """

    name: str = field(default_factory=lambda: uuid4().hex)
    drawn_with: int | None = None
    shall_forget: bool = False


def erase_everywhere(store: Store, client_id: str) -> Erasure:
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
        return store.erasures.erase(client_id)
    finally:
        if _is_gone(store, client_id):  # even if not everything beside the record could be removed yet
            withdraw_offers()
            OPENED.forget()
            window = held(_Window)
            erasures.tell(gone, by=window.name)
            window.shall_forget = True


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
    window = held(_Window)
    if window.shall_forget:
        window.shall_forget = False
        fetch(f"/forgotten/{uuid4().hex}")


def forget_the_erased() -> None:
    """Let go of what this window holds of anybody erased, and listen for the next erasure; before a page is drawn."""
    now, window = erasures.latest(), held(_Window)
    gone = erasures.erased_after(now if window.drawn_with is None else window.drawn_with)
    if gone:
        for key in [str(key) for key in st.session_state]:
            if any(identifier in key for identifier in (ANYBODY, *gone)):
                del st.session_state[key]
            elif key in _SEARCHES:
                st.session_state[key] = ""  # a name may stand there
    window.drawn_with = now
    with st.bottom:  # where it takes no room
        hear_of_erasures(now, window.name)
