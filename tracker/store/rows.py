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
    return {**_row(client, "demo"), "search": search}


def consent_row(consent: Consent) -> Row:
    """Row of the consent table."""
    return _row(consent, "client_id", "purpose", "given")


def visit_row(visit: Visit) -> Row:
    """Row of the visit table."""
    on_date, created_at = visit.on.isoformat(), time_text(visit.created_at)
    return {**_row(visit, "client_id", "revision"), "on_date": on_date, "created_at": created_at}


def photo_row(photo: PhotoRecord) -> Row:
    """Row of the photo table."""
    method = None if photo.reading is None else photo.reading.method_version
    row = _row(photo, "client_id", "visit_id", "role", "file")
    return {**row, "taken_at": time_text(photo.taken_at), "method": method}


def draft_row(draft: Draft) -> Row:
    """Row of the draft table."""
    return {**_row(draft, "client_id", "revision"), "updated_at": time_text(draft.updated_at)}


def price_row(line: PriceLine) -> Row:
    """Row of the price list."""
    return {**_row(line), "name": search_text(line.name)}


def yardstick_row(version: Yardstick) -> Row:
    """Row of the yardsticks."""
    undone_at = None if version.undone_at is None else time_text(version.undone_at)
    return {**_row(version, "kind"), "made_at": time_text(version.made_at), "undone_at": undone_at}


def _row(record: Identified, *columns: str) -> Row:
    """Identifier and JSON of a record, and the fields that are columns just as they are."""
    return {"id": record.id, **{name: getattr(record, name) for name in columns}, "record": _json(record)}


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
