"""Changing what is noted about a client, and erasing the client."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import shorten

import streamlit as st

from tracker import workflow
from tracker.errors import Conflict
from tracker.record.records import Client
from tracker.store import EXPIRE_AFTER, Store
from tracker.ui.look import failure
from tracker.ui.navigation import go_to
from tracker.ui.parts.consent_view import remembered_recorder
from tracker.ui.parts.forgetting import erase_everywhere
from tracker.ui.parts.held import drop, found, put
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.receipts import receipt_words
from tracker.words import count, listed
from tracker.workflow.words import NAME_LIMIT, NOTE_LIMIT


@dataclass
class _Opened:
    """The client as the form showed them when it was opened."""

    client: Client


def change_words(store: Store, client: Client) -> None:
    """The form for name and note; it remembers what it showed, so that a change in another window is not lost."""
    name_key = f"edit-name-{client.id}"
    held = found(_Opened, client.id)
    if held is None or name_key not in st.session_state:  # Streamlit has forgotten what stood in the fields
        held = put(_Opened(client), client.id)
    opened = held.client
    with st.form("client-words", border=False):
        name = st.text_input("Name", value=opened.name, max_chars=NAME_LIMIT, key=name_key)
        note = st.text_area("Note", value=opened.note, max_chars=NOTE_LIMIT, key=f"edit-note-{client.id}")
        saving = st.form_submit_button("Save", key="edit-save")
    if saving:
        with told():
            try:
                workflow.edit_client(store, opened, name or "", note or "", by=remembered_recorder())
            except Conflict as conflict:
                _say_what_is_kept(conflict, client)
                held.client = client
            else:
                drop(_Opened, client.id)
                st.rerun()


def _say_what_is_kept(conflict: Conflict, kept: Client) -> None:
    """What the other window saved; what was typed here stays in the fields."""
    note = f"“{shorten(kept.note, 200)}”" if kept.note else "empty"
    failure(conflict.what, f"Kept now: the name “{kept.name}”, the note {note}. {conflict.advice}")


def erase_for_good(store: Store, client: Client) -> None:
    """Erasing, with everything it takes named first and the name typed as the confirmation."""
    visits, photos = len(list(store.visits.of_client(client.id))), len(list(store.photos.find(client_id=client.id)))
    drafts = len(list(store.drafts.find(client.id)))
    parts = [count(visits, "visit"), count(photos, "photo with its numbers", "photos with their numbers")]
    if drafts:
        parts.append(count(drafts, "unfinished draft"))
    st.markdown(
        f"Erases the name, the note, every answer about agreement, {listed(parts)}. This cannot be undone. "
        f"Earlier backups still hold them until they are removed, after {EXPIRE_AFTER.days} days at most once "
        "there is a newer one; whoever brings one back does not bring this client back. Copies you made yourself are "
        "yours to delete."
    )
    typed = st.text_input("Type the client’s name to confirm", key="erase-name", autocomplete="off")
    if st.button("Erase for good", key="erase"):
        if " ".join((typed or "").split()) != " ".join(client.name.split()):
            st.error("Nothing was erased: the typed name is not the client’s name.")
            return
        with told():
            receipt = erase_everywhere(store, client.id)
            say_on_next_page(receipt_words(receipt))
            go_to("clients")
