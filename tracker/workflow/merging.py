"""Two records of the same client: what merging them would do, and the merge itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tracker.errors import InvalidEntry
from tracker.record.records import Client
from tracker.store import Merged, Store
from tracker.workflow.words import NOTE_LIMIT, clean_line


@dataclass(frozen=True, slots=True)
class MergePlan:
    """What a merge would do; nothing is changed yet.

    Attributes
    ----------
    kept : Client, the record that stays, as it would be
    other : Client, the record that goes
    visits, photos, drafts : int, how many would move
    to_ask_again : purposes that would count as not agreed until the client is asked again
    """

    kept: Client
    other: Client
    visits: int
    photos: int
    drafts: int
    to_ask_again: tuple[str, ...]


def plan_merge(store: Store, client_id: str, other_id: str) -> MergePlan:
    """What merging the other record into the client's would do.

    Raises
    ------
    NotFound : one of them is not there
    InvalidEntry : the two notes, or the two contact notes, are too long together
    """
    kept, other = store.clients.get(client_id), store.clients.get(other_id)
    also = f"Also noted as {other.name}." if other.name != kept.name else ""
    return MergePlan(
        kept=replace(
            kept,
            note=_together("notes", kept.note, also, other.note),
            contact=_together("contact notes", kept.contact, other.contact),
        ),
        other=other,
        visits=len(store.visits.of_client(other_id)),
        photos=len(store.photos.find(other_id)),
        drafts=len(store.drafts.find(other_id)),
        to_ask_again=store.consents.differing(client_id, other_id),
    )


def merge_clients(store: Store, client_id: str, other_id: str, by: str) -> Merged:
    """Move visits, photos, drafts and answers of the other record into the client's; the other record then goes.

    Both notes and both contact notes are kept, and the log of edits says what each record was before.

    Where one record agrees to something and the other does not, the no counts until the client is asked again.

    Parameters
    ----------
    client_id, other_id : str, the record that stays and the one that goes
    by : str, who confirms that both are the same person

    Raises
    ------
    NotFound : one of them is not there
    Conflict : both are the same record, or one is made up for the demo
    InvalidEntry : the two notes, or the two contact notes, are too long together, or nobody is named
    """
    who = clean_line(by, "Your name")
    if not who:
        raise InvalidEntry("It is not noted who confirms that both are the same client.", "Type your name or initials.")
    return store.clients.merge(plan_merge(store, client_id, other_id).kept, other_id, by=who)


def _together(what: str, ours: str, *others: str) -> str:
    """The texts of both records, one below the other; what repeats ours is left out."""
    text = "\n".join(part for part in (ours, *(each for each in others if each != ours)) if part)
    if len(text) > NOTE_LIMIT:
        raise InvalidEntry(
            f"Both {what} together have {len(text)} characters (limit {NOTE_LIMIT}).",
            "Shorten one of them first.",
            value=len(text),
            limit=NOTE_LIMIT,
            unit="characters",
        )
    return text
