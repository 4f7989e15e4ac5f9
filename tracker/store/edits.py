"""The log of edits: what was there before each saved change, when and by whom."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from tracker.record.records import now
from tracker.store import schema
from tracker.store.part import Part
from tracker.store.rows import KINDS, Row, readable, time_text

CHANGED, REMOVED, ANSWERED = "changed", "removed", "answered"
SET_ASIDE, PUT_BACK, MERGED = "set aside", "put back", "merged"

NOBODY = "the studio"
"""Who made a change if no name was given."""


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
    before : the record as it was; None where it was removed for good, or can no longer be read
    """

    number: int
    kind: str
    record_id: str
    what: str
    at: datetime
    by: str
    before: Any


class Edits(Part):
    """The part of the store that remembers edits."""

    def find(self, client_id: str | None = None, *, record_id: str | None = None, limit: int = 200) -> list[Edit]:
        """Edits, newest first: of one client or of one record, or, without either, of what belongs to no client."""
        table = schema.edit
        query = select(table).order_by(table.c.number.desc()).limit(limit)
        if record_id is not None:
            query = query.where(table.c.record_id == record_id)
        else:
            query = query.where(table.c.client_id == client_id if client_id else table.c.client_id.is_(None))
        with self._database.reading() as connection:
            return [_edit(row) for row in connection.execute(query)]


def edit_line(kind: str, record_id: str, client_id: str | None, what: str, before: str | None = None) -> Row:
    """One line of the log.

    Parameters
    ----------
    kind : str, name of the record's table
    client_id : str or None, whose it is: the edit is erased with the client
    what : str, such as `CHANGED`
    before : str or None, JSON of the record as it was
    """
    return {"kind": kind, "record_id": record_id, "client_id": client_id, "what": what, "before": before}


def log_edits(connection: Connection, lines: Sequence[Row], by: str) -> None:
    """Log changes in the transaction that makes them; `by` says who, empty if nobody was named."""
    if lines:
        at = time_text(now())
        connection.execute(insert(schema.edit), [{**line, "at": at, "by": by or NOBODY} for line in lines])


def was_removed(connection: Connection, record_id: str) -> bool:
    """Whether a record was ever deleted."""
    table = schema.edit
    query = select(table.c.number).where(table.c.record_id == record_id, table.c.what == REMOVED).limit(1)
    return connection.execute(query).first() is not None


def forget_edits(connection: Connection, record_ids: Iterable[str]) -> bool:
    """Remove what was kept of records deleted for good; False if nothing was."""
    return connection.execute(delete(schema.edit).where(schema.edit.c.record_id.in_(list(record_ids)))).rowcount > 0


def _edit(row: Any) -> Edit:
    return Edit(row.number, row.kind, row.record_id, row.what, datetime.fromisoformat(row.at), row.by, _before(row))


def _before(row: Any) -> Any:
    shape = next((shape for shape, kind in KINDS.items() if kind == row.kind), None)
    if row.before is None or shape is None:
        return None
    return readable(shape, row.record_id, row.before)
