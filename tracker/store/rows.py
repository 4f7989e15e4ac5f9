"""Frozen records to table rows and back."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Protocol, TypeVar

from tracker.calibrate.calibration import Yardstick
from tracker.errors import StoreDamaged, StoreError
from tracker.record.mixing import PriceLine
from tracker.record.records import Client, Consent, Draft, PhotoRecord, Visit, from_json, to_json

Row = dict[str, Any]


class Identified(Protocol):
    """A record with an identifier."""

    @property
    def id(self) -> str:
        """Opaque identifier."""


Record = TypeVar("Record", bound=Identified)

KINDS: dict[type[Any], str] = {
    Client: "client",
    Consent: "consent",
    Visit: "visit",
    PhotoRecord: "photo",
    Draft: "draft",
    PriceLine: "price",
    Yardstick: "yardstick",
}
"""Name of the table for each shape."""


@dataclass(frozen=True, slots=True)
class DamagedRecord:
    """A record whose JSON no longer fits its shape.

    Attributes
    ----------
    kind : str, ``client``, ``consent``, ``visit``, ``photo``, ``draft``, ``price`` or ``yardstick``
    id : str
    """

    kind: str
    id: str


def time_text(time: datetime) -> str:
    """A time as text that sorts as it reads: UTC, always with microseconds."""
    return time.astimezone(UTC).isoformat(timespec="microseconds")


def search_text(text: str) -> str:
    """Text as searched: without case and accents, so that ``zoe`` finds ``Zoë``."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def client_row(client: Client) -> Row:
    """Row of the client table."""
    search = search_text(f"{client.name}\n{client.note}\n{client.contact}")
    return {"id": client.id, "search": search, "demo": client.demo, "record": _json(client)}


def consent_row(consent: Consent) -> Row:
    """Row of the consent table."""
    return {
        "id": consent.id,
        "client_id": consent.client_id,
        "purpose": consent.purpose,
        "given": consent.given,
        "record": _json(consent),
    }


def visit_row(visit: Visit) -> Row:
    """Row of the visit table."""
    return {
        "id": visit.id,
        "client_id": visit.client_id,
        "on_date": visit.on.isoformat(),
        "created_at": time_text(visit.created_at),
        "revision": visit.revision,
        "record": _json(visit),
    }


def photo_row(photo: PhotoRecord) -> Row:
    """Row of the photo table."""
    return {
        "id": photo.id,
        "client_id": photo.client_id,
        "visit_id": photo.visit_id,
        "role": photo.role,
        "taken_at": time_text(photo.taken_at),
        "file": photo.file,
        "record": _json(photo),
    }


def draft_row(draft: Draft) -> Row:
    """Row of the draft table."""
    return {
        "id": draft.id,
        "client_id": draft.client_id,
        "updated_at": time_text(draft.updated_at),
        "revision": draft.revision,
        "record": _json(draft),
    }


def price_row(line: PriceLine) -> Row:
    """Row of the price list."""
    return {"id": line.id, "name": search_text(line.name), "record": _json(line)}


def yardstick_row(version: Yardstick) -> Row:
    """Row of the yardsticks."""
    return {
        "id": version.id,
        "kind": version.kind,
        "made_at": time_text(version.made_at),
        "undone_at": None if version.undone_at is None else time_text(version.undone_at),
        "record": _json(version),
    }


def read_record(shape: type[Record], identifier: str, text: str) -> Record:
    """The record kept in a row.

    Parameters
    ----------
    shape : type of the record
    identifier : str, the row's identifier
    text : str, the row's JSON

    Raises
    ------
    StoreDamaged : the JSON does not fit the shape, or is another record's
    """
    try:
        record = from_json(shape, text)
    except (ValueError, IndexError) as error:
        raise _damaged(shape, identifier) from error
    if record.id != identifier:
        raise _damaged(shape, identifier)
    return record


def readable(shape: type[Record], identifier: str, text: str) -> Record | None:
    """As `read_record`; None where it cannot be read."""
    try:
        return read_record(shape, identifier, text)
    except StoreDamaged:
        return None


def read_records(shape: type[Record], rows: Iterable[Any]) -> Iterator[Record]:
    """The records of rows with ``id`` and ``record``; those that cannot be read are left out."""
    for row in rows:
        if (record := readable(shape, row.id, row.record)) is not None:
            yield record


def _json(record: object) -> str:
    try:
        return to_json(record)
    except ValueError as error:  # half a character, as a broken keyboard or paste can leave behind
        raise StoreError("The text has characters that cannot be stored.", "Type it again.") from error


def _damaged(shape: type[Any], identifier: str) -> StoreDamaged:
    kind = KINDS[shape]
    return StoreDamaged(
        f"The record of {kind} {identifier} is damaged and cannot be read.",
        "Everything else can be used; a backup may still hold it.",
    )
