"""Take a client on, keep their answers, and forget them when they ask."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

from tracker.errors import Conflict, ConsentMissing, InvalidEntry
from tracker.record.records import CONSENT_VERSION, MEASURING, PURPOSES, Client, Consent, new_id, now
from tracker.store import Absent, Store
from tracker.words import DAYS_PER_MONTH
from tracker.workflow.words import clean_line, clean_note

USUAL_MONTHS = 24
"""A loose choice of our own; the law asks for a limit and names none (GDPR article 5(1)(e))."""


def add_client(
    store: Store,
    name: str,
    note: str,
    consents: Mapping[str, bool],
    recorded_by: str,
    *,
    demo: bool = False,
) -> Client:
    """Take a client on, together with what they agreed to.

    Parameters
    ----------
    name : str, at most 120 characters
    note : str, at most 4000 characters
    consents : answer for each purpose of `records.PURPOSES` that was asked
    recorded_by : str, who asked
    demo : bool, True for the made-up clients of the demo

    Returns
    -------
    Client : as it is kept

    Raises
    ------
    ConsentMissing : the client does not agree to being measured; nothing is kept
    InvalidEntry : no name, or something is too long
    """
    client = Client(new_id(), _name(name), clean_note(note, "The note"), now(), demo)
    if not consents.get(MEASURING, False):
        raise ConsentMissing(
            "The client has not agreed to being photographed and measured, so nothing is kept about them.",
            "Read the statement to them; without a yes this program is not for this client.",
        )
    answers = [_answer(client.id, purpose, given, recorded_by) for purpose, given in consents.items()]
    return store.clients.add(client, answers)


def edit_client(store: Store, opened: Client, name: str, note: str, *, by: str = "") -> Client:
    """Change a client's name and note; what was there before stays in the log of edits with `by`.

    Parameters
    ----------
    opened : Client, as the person changing it saw it
    name, note : str, as typed
    by : str, who changes it

    Raises
    ------
    NotFound : no such client
    InvalidEntry : no name, or something is too long
    Conflict : name or note have been changed in another window since
    """
    named, noted = _name(name), clean_note(note, "The note")

    def change(kept: Client) -> Client:
        if (kept.name, kept.note) != (opened.name, opened.note):
            raise Conflict(
                "Name or note were changed in another window since you opened them.",
                "Save again to put what you typed in its place.",
            )
        return replace(kept, name=named, note=noted)

    return store.clients.change(opened.id, change, by=by)


def note_contact(store: Store, client_id: str, contact: str, *, by: str = "") -> None:
    """Keep how to reach a client and what was said.

    Raises
    ------
    NotFound : no such client
    InvalidEntry : it is too long
    """
    words = clean_note(contact, "The contact note")
    store.clients.change(
        client_id, lambda kept: replace(kept, contact=words), by=clean_line(by, "The name of the person who saves it")
    )


def answer_consent(store: Store, client_id: str, purpose: str, given: bool, by: str) -> Consent:
    """Keep a client's new answer, a yes or a withdrawal; it counts from now on, and earlier ones stay on record.

    Parameters
    ----------
    purpose : str, one of `records.PURPOSES`
    given : bool
    by : str, who asked

    Raises
    ------
    NotFound : no such client
    ConsentMissing : no such purpose
    InvalidEntry : nobody is named as having asked
    """
    return store.consents.add(_answer(client_id, purpose, given, by))


def not_seen_for(store: Store, months: int) -> list[Absent]:
    """Clients who have not been in for so many months, longest absence first; nothing is deleted."""
    return store.clients.not_seen_since(date.today() - timedelta(days=months * DAYS_PER_MONTH))


def _name(text: str) -> str:
    name = clean_line(text, "The name")
    if not name:
        raise InvalidEntry("The client has no name.", "Type a name, or a word that you know them by.")
    return name


def _answer(client_id: str, purpose: str, given: bool, by: str) -> Consent:
    if purpose not in PURPOSES:
        raise ConsentMissing(f"There is no question about {purpose}.", f"Ask about {' or '.join(PURPOSES)}.")
    recorder = clean_line(by, "The name of the person who asked")
    if not recorder:
        raise InvalidEntry("It is not noted who asked the client.", "Type the name of the person who asked.")
    return Consent(new_id(), client_id, purpose, given, CONSENT_VERSION, now(), recorder)
