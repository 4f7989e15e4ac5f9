"""The last deletions, held in memory only, so that a slip of the finger can be taken back until the program ends."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, Table, func, insert, select, update

from tracker.errors import NotFound, StoreError
from tracker.records import new_id, now
from tracker.store import schema
from tracker.store.database import Database, require_client
from tracker.store.edits import REMOVED, log_edit
from tracker.store.folder import Layout
from tracker.store.kept import held_by
from tracker.store.outcomes import refresh_outcomes
from tracker.store.pictures import Pictures
from tracker.store.rows import Row
from tracker.store.wearing import touch_wear

PUT_BACK = "put back"

_MOST = 20
_MOST_BYTES = 256 * 1024**2
"""How much is held at most: pictures of some twenty visits. The oldest deletion goes first."""


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


class Undoing(Database):
    """The part of the store that can take deletions back.

    An erasure cannot be taken back, and it empties this memory of the client.
    """

    def __init__(self, layout: Layout, engine: Engine, pictures: Pictures) -> None:
        super().__init__(layout, engine, pictures)
        self._deleted: OrderedDict[str, _Held] = OrderedDict()
        self._deleted_lock = threading.Lock()

    def can_put_back(self, token: str) -> bool:
        """True while that deletion can be taken back."""
        with self._deleted_lock:
            return token in self._deleted

    def put_back(self, token: str) -> Deletion:
        """Take a deletion back: records and pictures are as they were.

        Raises
        ------
        NotFound : it is not held any more, or the client was erased since
        Conflict : something of it is there again
        StoreFull : no room for the pictures
        """
        with self._deleted_lock:
            held = self._deleted.get(token)
        if held is None:
            raise NotFound("This cannot be taken back any more.", "Only the last deletions since the start are held.")
        try:
            with self._writing() as connection:
                self._require_owner(connection, held)
                _insert(connection, held)
                # last, and under the lock: an erasure in another window comes before it or after it
                for content in held.pictures.values():
                    self._keep_picture(connection, content)
        except BaseException:
            self._tidy_files(held.pictures)
            raise
        self._forget([token])
        return held.deletion

    def _require_owner(self, connection: Connection, held: _Held) -> None:
        """Check that the client is there; where another program erased the client, forget what is held of them."""
        if held.client_id is None:
            return
        try:
            require_client(connection, held.client_id)
        except NotFound:
            self._forget_deleted([held.client_id])
            raise

    @contextmanager
    def _deleting(self, connection: Connection, table: Table, identifier: str) -> Iterator[Deletion]:
        """Hold what a deletion takes, once it is done.

        Parameters
        ----------
        connection : Connection, inside the transaction that deletes
        table : Table, of the record
        identifier : str
        """
        self._make_way()
        rows = held_by(connection, table, [identifier])
        rows["edit"] = _edits_of(connection, rows)
        client_id = next((row.get("client_id") for row in rows[table.name]), None)
        files = {row["file"] for name in ("photo", "draft_file") for row in rows.get(name, ())}
        deletion = Deletion(new_id(), table.name, now())
        held = _Held(deletion, identifier, client_id, {k: v for k, v in rows.items() if v}, self._contents(files))
        yield deletion
        with self._deleted_lock:
            self._deleted[deletion.token] = held
            while len(self._deleted) > _MOST or sum(each.size for each in self._deleted.values()) > _MOST_BYTES:
                self._deleted.popitem(last=False)

    def _contents(self, files: Iterable[str]) -> dict[str, bytes]:
        found = {}
        for name in files:
            try:
                found[name] = self._pictures.get(name)
            except StoreError:  # was lost before, or cannot be read: it comes back as lost
                continue
        return found

    def _forget_deleted(self, client_ids: Iterable[str]) -> None:
        """Empty the memory of these clients."""
        gone = set(client_ids)
        with self._deleted_lock:
            tokens = [token for token, held in self._deleted.items() if held.client_id in gone]
        self._forget(tokens)

    def _forget(self, tokens: Iterable[str]) -> None:
        with self._deleted_lock:
            for token in tokens:
                self._deleted.pop(token, None)


def _insert(connection: Connection, held: _Held) -> None:
    """Write the rows again, and what is worked out from them."""
    _make_room(connection, held)
    for name, rows in held.rows.items():
        connection.execute(insert(schema.metadata.tables[name]), rows)
    for row in held.rows.get("photo", ()):
        if row["visit_id"] is not None:
            refresh_outcomes(connection, row["visit_id"])
    if held.client_id is not None:
        touch_wear(connection, held.client_id)
    log_edit(connection, held.deletion.kind, held.record_id, held.client_id, PUT_BACK, "", None)


def _make_room(connection: Connection, held: _Held) -> None:
    """Give back the numbers of the log that were free after the deletion: what was logged since moves behind them."""
    table = schema.edit
    # the line of the deletion itself, not its time: clocks are set back now and then
    removed = select(func.max(table.c.number)).where(table.c.record_id == held.record_id, table.c.what == REMOVED)
    first = connection.execute(removed).scalar_one()
    since = table.c.number >= (first or 0)
    shift = max((row["number"] for row in held.rows.get("edit", ())), default=0) + 1 - (first or 0)
    if first is None or shift <= 0:
        return
    # by way of negative numbers, so that no two lines have one number in between
    connection.execute(update(table).where(since).values(number=-(table.c.number + shift)))
    connection.execute(update(table).where(table.c.number < 0).values(number=-table.c.number))


def _edits_of(connection: Connection, rows: dict[str, list[Row]]) -> list[Row]:
    """The log of what the deletion takes: it is forgotten with it."""
    identifiers: list[Any] = [row["id"] for found in rows.values() for row in found if "id" in row]
    query = select(schema.edit).where(schema.edit.c.record_id.in_(identifiers)).order_by(schema.edit.c.number)
    return [dict(row._mapping) for row in connection.execute(query)]
