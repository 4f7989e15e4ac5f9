"""The log of edits: what was there before each saved change, when and by whom."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from tracker.errors import StoreDamaged
from tracker.records import now
from tracker.store import schema
from tracker.store.database import Database
from tracker.store.rows import KINDS, read_record, time_text

CHANGED, REMOVED, ANSWERED, SET_ASIDE = "changed", "removed", "answered", "set aside"

NOBODY = "the studio"
"""Who made a change where no name was given."""


@dataclass(frozen=True, slots=True)
class Edit:
    """One saved change.

    Attributes
    ----------
    number : int, order of the edits
    kind : str, ``client``, ``consent``, ``visit``, ``photo``, ``draft`` or ``price``
    record_id : str
    what : str, ``changed``, ``removed``, ``answered``, ``set aside``, ``put back`` or ``merged``
    at : datetime
    by : str, who
    before : the record as it was; None where it was removed for good, or cannot be read any more
    """

    number: int
    kind: str
    record_id: str
    what: str
    at: datetime
    by: str
    before: Any


class Edits(Database):
    """The part of the store that remembers edits."""

    def edits(self, client_id: str | None = None, *, record_id: str | None = None, limit: int = 200) -> list[Edit]:
        """Edits, newest first: of one client or of one record, or, without either, of what is no client's."""
        table = schema.edit
        query = select(table).order_by(table.c.number.desc()).limit(limit)
        if record_id is not None:
            query = query.where(table.c.record_id == record_id)
        else:
            query = query.where(table.c.client_id == client_id if client_id else table.c.client_id.is_(None))
        with self._reading() as connection:
            return [_edit(row) for row in connection.execute(query)]


def log_edit(
    connection: Connection,
    kind: str,
    record_id: str,
    client_id: str | None,
    what: str,
    by: str,
    before: str | None,
) -> None:
    """Keep a change in the transaction that makes it.

    Parameters
    ----------
    kind : str, name of the record's table
    client_id : str or None, whose it is: the edit goes with the client
    what : str, `CHANGED`, `REMOVED`, `ANSWERED` or `SET_ASIDE`
    by : str, who; empty where nobody was named
    before : str or None, JSON of the record as it was
    """
    line = {
        "kind": kind,
        "record_id": record_id,
        "client_id": client_id,
        "what": what,
        "at": time_text(now()),
        "by": by or NOBODY,
        "before": before,
    }
    connection.execute(insert(schema.edit), line)


def was_removed(connection: Connection, record_id: str) -> bool:
    """Whether a record was deleted at some time."""
    table = schema.edit
    query = select(table.c.number).where(table.c.record_id == record_id, table.c.what == REMOVED).limit(1)
    return connection.execute(query).first() is not None


def forget_edits(connection: Connection, record_id: str) -> bool:
    """Remove what was kept of a record that is deleted for good; False where nothing was."""
    return connection.execute(delete(schema.edit).where(schema.edit.c.record_id == record_id)).rowcount > 0


def _edit(row: Any) -> Edit:
    return Edit(row.number, row.kind, row.record_id, row.what, datetime.fromisoformat(row.at), row.by, _before(row))


def _before(row: Any) -> Any:
    shape = next((shape for shape, kind in KINDS.items() if kind == row.kind), None)
    if row.before is None or shape is None:
        return None
    try:
        return read_record(shape, row.record_id, row.before)
    except StoreDamaged:
        return None
