"""One client who is due, as a line of a list."""

from __future__ import annotations

from datetime import date

import streamlit as st

from tracker import workflow
from tracker.errors import NotFound
from tracker.maths.uncertainty import format_number
from tracker.store import Store
from tracker.ui.look import sparkline
from tracker.ui.navigation import link
from tracker.ui.parts.consent_view import remembered_recorder
from tracker.ui.parts.due_words import due_line
from tracker.ui.parts.notices import told
from tracker.ui.parts.pictures import small_picture
from tracker.ui.parts.rows import thumb
from tracker.ui.parts.words import plain, plain_lines
from tracker.wear import WARMTH, Due
from tracker.words import MADE_UP, REGION_WORDS, sentence_case
from tracker.workflow.words import NOTE_LIMIT


def due_row(store: Store, due: Due, *, contact: bool = True) -> None:
    """Last photo, name, when and why, how it wears, and how to reach the client.

    Parameters
    ----------
    contact : bool, True to show the contact note and the way to change it
    """
    client = store.clients.get(due.client_id)
    with st.container(key=f"due-{due.client_id}", horizontal=True, vertical_alignment="top", wrap=False, gap="medium"):
        thumb(_picture(store, due))
        with st.container(gap="xsmall"):
            link("client", plain(client.name) + (f" · {MADE_UP}" if client.demo else ""), client=client.id)
            st.markdown(plain(sentence_case(due_line(due, date.today()))))
            wear = _spark_words(due)
            if wear:
                sparkline(due.months, due.values, wear)
                st.caption(plain(wear))
            if contact:
                _contact(store, client.id, client.contact)


def _picture(store: Store, due: Due) -> tuple[str, str] | None:
    if due.photo_id is None:
        return None
    try:
        return small_picture(store.photos.get(due.photo_id))
    except NotFound:  # deleted in another window since it was worked out
        return None


def _spark_words(due: Due) -> str:
    if len(due.values) < 2:
        return ""
    what = "Warmth" if due.quantity == WARMTH else "Lightness"
    first, last = format_number(due.values[0]), format_number(due.values[-1])
    where = REGION_WORDS[due.region]
    return f"{what} of the {where}: {first} after the service, {last} in the last of {len(due.values)} photos."


def _contact(store: Store, client_id: str, noted: str) -> None:
    if noted:
        st.caption(plain_lines(noted))
    with st.popover("Contact note", type="tertiary"):
        typed = st.text_area(
            "How to reach the client, and what was said",
            value=noted,
            max_chars=NOTE_LIMIT,
            placeholder="for example: text, mornings; asked on 3 May",
            key=f"contact-{client_id}",
        )
        if st.button("Keep the note", key=f"contact-keep-{client_id}"):
            with told():
                workflow.note_contact(store, client_id, typed or "", by=remembered_recorder())
                st.rerun()
