"""The last deletions, held in memory only, so that a slip of the finger can be taken back until the program ends."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, Table, delete, func, insert, select, update

from tracker.errors import NotFound, StoreError
from tracker.record.records import new_id, now
from tracker.store import schema
from tracker.store.database import Database
from tracker.store.edits import PUT_BACK, REMOVED, edit_line, forget_edits
from tracker.store.kept import held_by
from tracker.store.lookup import missing, require_client, stored
from tracker.store.part import Part
from tracker.store.rows import Row

_DERIVED = frozenset({"visit_text", "outcome"})

_MOST = 20
_MOST_BYTES = 256 * 1024**2
"""The most that is held: pictures of some twenty visits. The oldest deletion goes first."""


@dataclass(frozen=True, slots=True)
class Deletion:
    """A deletion that can still be taken back; nothing of what was deleted is in it.

    Attributes
    ----------
    token : str, give it to `put_back`
    kind : str, ``visit``, ``photo``, ``draft`` or ``price``
    at : datetime
    """

    token: str
    kind: str
    at: datetime


@dataclass(frozen=True, slots=True)
class _Held:
    """What a deletion took: rows by table, pictures by name."""

    deletion: Deletion
    record_id: str
    client_id: str | None
    rows: dict[str, list[Row]]
    pictures: dict[str, bytes]

    @property
    def size(self) -> int:
        return sum(map(len, self.pictures.values()))


class Deletions:
    """The part of the store that deletes records, and can take that back.

    An erasure cannot be taken back, and it empties this memory of the client."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._deleted: OrderedDict[str, _Held] = OrderedDict()
        self._deleted_lock = threading.Lock()

    def delete(self, table: Table, identifier: str, *, by: str = "") -> Deletion:
        """Delete a record with all that belongs to it, and hold it until `put_back`.

        What was kept of its earlier states goes too; the log keeps a line without content, except for the price list,
        which is about nobody.

        Parameters
        ----------
        table : Table, of the record
        by : str, who deletes it

        Raises
        ------
        NotFound
        """
        self._database.make_way()
        told: list[Row] = []
        with self._database.writing(by, told) as connection:
            if stored(connection, table.c.id, identifier) is None:
                raise missing(table.name)
            held = self._about_to_go(connection, table, identifier)
            if table is not schema.price:
                forgotten = forget_edits(connection, _identifiers(held.rows))
                # of a draft only, where `put_back` needs the line to place those that were there before
                if forgotten or table is not schema.draft:
                    told.append(edit_line(table.name, identifier, held.client_id, REMOVED))
            connection.execute(delete(table).where(table.c.id == identifier))
            self._hold(held)  # under the write lock: an erasure in another window comes before it or after it
        return held.deletion

    def can_put_back(self, token: str) -> bool:
        """True while that deletion can be taken back."""
        with self._deleted_lock:
            return token in self._deleted

    def put_back(self, token: str) -> Deletion:
        """Take a deletion back: records and pictures are as they were.

        Raises
        ------
        NotFound : it is no longer held, or the client has been erased since
        Conflict : some of it is there again
        StoreFull : no room for the pictures
        """
        with self._deleted_lock:
            held = self._deleted.get(token)
        if held is None:
            raise NotFound(
                "This can no longer be taken back.", "Only the latest deletions since the program started are kept."
            )
        try:
            line = edit_line(held.deletion.kind, held.record_id, held.client_id, PUT_BACK)
            with self._database.writing(told=[line]) as connection:
                self._require_owner(connection, held)
                _insert(connection, held)
                # last, and under the lock: an erasure in another window comes before it or after it
                for content in held.pictures.values():
                    self._database.keep_picture(connection, content)
        except BaseException:
            self._database.tidy_files(held.pictures)
            raise
        self._forget([token])
        return held.deletion

    def _require_owner(self, connection: Connection, held: _Held) -> None:
        """Check that the client is there; if another program erased them, forget what is held of them."""
        if held.client_id is None:
            return
        try:
            require_client(connection, held.client_id)
        except NotFound:
            self.forget_clients([held.client_id])
            raise

    def _hold(self, held: _Held) -> None:
        with self._deleted_lock:
            self._deleted[held.deletion.token] = held
            while len(self._deleted) > _MOST or sum(each.size for each in self._deleted.values()) > _MOST_BYTES:
                self._deleted.popitem(last=False)

    def _about_to_go(self, connection: Connection, table: Table, identifier: str) -> _Held:
        """What a deletion is going to take, without what is worked out from records, which can be worked out again."""
        rows = held_by(connection, table, [identifier])
        if table is not schema.price:  # whose log stays
            rows["edit"] = _edits_of(connection, rows)
        client_id = next((row.get("client_id") for row in rows[table.name]), None)
        files = {row["file"] for name in ("photo", "draft_file") for row in rows.get(name, ())}
        deletion = Deletion(new_id(), table.name, now())
        kept = {name: found for name, found in rows.items() if found and name not in _DERIVED}
        return _Held(deletion, identifier, client_id, kept, self._contents(files))

    def _contents(self, files: Iterable[str]) -> dict[str, bytes]:
        found = {}
        for name in files:
            try:
                found[name] = self._database.pictures.get(name)
            except StoreError:  # was lost before, or cannot be read: it comes back as lost
                continue
        return found

    def forget_clients(self, client_ids: Iterable[str]) -> None:
        """Empty the memory of these clients."""
        gone = set(client_ids)
        with self._deleted_lock:
            tokens = [token for token, held in self._deleted.items() if held.client_id in gone]
        self._forget(tokens)

    def _forget(self, tokens: Iterable[str]) -> None:
        with self._deleted_lock:
            for token in tokens:
                self._deleted.pop(token, None)


class DeletingPart(Part):
    """A part of the store whose records can be deleted, and brought back."""

    def __init__(self, database: Database, deletions: Deletions) -> None:
        super().__init__(database)
        self._deletions = deletions


def _insert(connection: Connection, held: _Held) -> None:
    """Write the rows again."""
    _make_room(connection, held)
    for name, rows in held.rows.items():
        connection.execute(insert(schema.metadata.tables[name]), rows)


def _make_room(connection: Connection, held: _Held) -> None:
    """Give back the log numbers freed by the deletion: what was logged since moves behind them."""
    table = schema.edit
    # the line of the deletion itself, not its time: clocks are set back now and then
    removed = select(func.max(table.c.number)).where(table.c.record_id == held.record_id, table.c.what == REMOVED)
    first = connection.execute(removed).scalar_one()
    since = table.c.number >= (first or 0)
    shift = max((row["number"] for row in held.rows.get("edit", ())), default=0) + 1 - (first or 0)
    if first is None or shift <= 0:
        return
    # by way of negative numbers, so that no two lines share a number on the way
    connection.execute(update(table).where(since).values(number=-(table.c.number + shift)))
    connection.execute(update(table).where(table.c.number < 0).values(number=-table.c.number))


def _edits_of(connection: Connection, rows: dict[str, list[Row]]) -> list[Row]:
    """The log of what the deletion takes, which goes with it."""
    query = select(schema.edit).where(schema.edit.c.record_id.in_(_identifiers(rows))).order_by(schema.edit.c.number)
    return [dict(row._mapping) for row in connection.execute(query)]


def _identifiers(rows: dict[str, list[Row]]) -> list[str]:
    return [row["id"] for found in rows.values() for row in found if "id" in row]
