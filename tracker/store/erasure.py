"""Erase a client so that no byte of them is left in the studio's folder."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from contextlib import closing, suppress
from dataclasses import asdict, dataclass, replace
from datetime import datetime

from sqlalchemy import Connection, Table, delete, func, insert, select, union, update
from sqlalchemy.engine.interfaces import DBAPICursor

from tracker.errors import Conflict, StoreError, StoreFull
from tracker.record.records import now
from tracker.store import schema
from tracker.store.counted import counted_names, recount, uncount_pictures
from tracker.store.database import Database
from tracker.store.exports import Exports
from tracker.store.faults import database_faults, disk_faults
from tracker.store.lookup import require_client, wanted_files
from tracker.store.merging import merged_into
from tracker.store.room import free_bytes
from tracker.store.rows import time_text
from tracker.store.set_aside import IN_HAND, SetAside
from tracker.store.undo import Deletions

_SLACK_BYTES = 1024**2
_CUT_OFF = select(schema.erasure.c.client_id).where(schema.erasure.c.finished_at.is_(None))


@dataclass(frozen=True, slots=True)
class Erasure:
    """One line of the erasure list: all that is left of an erased client.

    Attributes
    ----------
    client_id : str, opaque
    erased_at : datetime
    counts : Counts of what was erased, or None where they are not known
    """

    client_id: str
    erased_at: datetime
    counts: Counts | None = None


@dataclass(frozen=True, slots=True)
class Counts:
    """How much of each kind an erasure removed.

    Attributes
    ----------
    visits, photos, drafts, consents : int, records
    edits : int, earlier states of records
    files : int, pictures; one that another client's photo also names stays and is not counted
    exports : int, exports of everything on the disk; they held the client too, so all are removed
    set_aside : int, pictures that were set aside; they may have shown the client, so all are removed
    """

    visits: int = 0
    photos: int = 0
    drafts: int = 0
    consents: int = 0
    edits: int = 0
    files: int = 0
    exports: int = 0
    set_aside: int = 0


class Erasures:
    """The part of the store that forgets."""

    def __init__(self, database: Database, deletions: Deletions, exports: Exports, set_aside: SetAside) -> None:
        self._database = database
        self._deletions = deletions
        self._exports = exports
        self._set_aside = set_aside

    def erase(self, client_id: str) -> Erasure:
        """Erase a client with consents, visits, photos, drafts and pictures.

        Deleted content is overwritten, the database file is rewritten, its log emptied, the copy from the last
        upgrade, every export on the disk, every picture that no record names and all that were set aside removed, and
        the memory of deletions emptied of the client. Backups elsewhere still hold the client: `restore` erases them
        again. An erasure that is cut off is finished when the data is next opened. On a full disk the reserve is given
        back and, where that is not enough, the pictures go before the words; the file is then rewritten at a start
        that finds room for it.

        Raises
        ------
        NotFound : no such client
        StoreError : the disk keeps a picture or an export
        StoreFull : the disk has no room even to erase; the next start goes on
        Conflict : another window is reading for so long that the log cannot be emptied now
        """
        self._database.make_way()
        along = {"exports": self._exports.count(), "set_aside": len(self._set_aside.pictures())}
        try:
            receipt, held = self._erase_rows(client_id, along)
        except StoreFull:
            removed = self._erase_pictures_first(client_id)
            receipt, held = self._erase_rows(client_id, along, removed)
        self._database.discard_files(held)
        self._discard_left_overs()
        self._set_aside.empty()
        self._exports.remove_all()
        self._leave_no_byte()
        return receipt

    def _erase_rows(self, client_id: str, along: Mapping[str, int], removed: int = 0) -> tuple[Erasure, set[str]]:
        """Erase the client's rows and list the client as erased; returns the pictures that they named too.

        Parameters
        ----------
        along : how many exports, and how many pictures set aside, go with the client
        removed : int, the client's pictures that are already gone
        """
        with self._database.writing() as connection:
            require_client(connection, client_id)
            erased_at = now()
            counts = _counts(connection, client_id)
            held = _files_of(connection, client_id)
            gone = {client_id, *merged_into(connection, client_id)}
            connection.execute(delete(schema.client).where(schema.client.c.id == client_id))
            going = sum(map(self._database.pictures.is_there, held - wanted_files(connection)))
            counts = replace(counts, files=removed + going, **along)
            _list_as_erased(connection, gone, erased_at)
            # at once, so that an erasure that is cut off has its receipt too
            counted = update(schema.erasure).where(schema.erasure.c.client_id == client_id)
            connection.execute(counted.values(counts=json.dumps(asdict(counts))))
        self._deletions.forget_clients(gone)
        return Erasure(client_id, erased_at, counts), held

    def _erase_pictures_first(self, client_id: str) -> int:
        """Make room if the disk has none to note what is erased; returns how many of the pictures are gone.

        What every erasure removes goes first, then the pictures that only this client has. The client is listed as
        erased before these go, so the next start erases the rest in any case.
        """
        self._remove_safety_copy()
        self._set_aside.empty()
        self._exports.remove_all()
        with self._database.writing() as connection:
            require_client(connection, client_id)
            _list_as_erased(connection, {client_id, *merged_into(connection, client_id)}, now())
        with self._database.writing() as connection:
            going = _files_of(connection, client_id) - _files_of(connection, client_id, others=True)
            there = [name for name in sorted(going) if self._database.pictures.is_there(name)]
            for name in there:
                self._database.pictures.remove(name)
        return len(there)

    def all(self) -> list[Erasure]:
        """The erasure list, oldest first: give it to `restore` with an older backup."""
        table = schema.erasure
        with self._database.reading() as connection:
            rows = connection.execute(select(table).order_by(table.c.erased_at)).all()
        return [Erasure(row.client_id, datetime.fromisoformat(row.erased_at), known_counts(row.counts)) for row in rows]

    def receipts(self) -> list[Erasure]:
        """What was erased, oldest first; a record merged into an erased one is counted with it."""
        with self._database.reading() as connection:
            merged = set(connection.execute(select(schema.merge.c.client_id)).scalars())
        return [erasure for erasure in self.all() if erasure.client_id not in merged]

    def clean_up(self) -> None:
        """Finish erasures that were cut off, or set aside what a crash left. Only for a store that is open alone."""
        unfinished = self.has_unfinished()
        with suppress(StoreFull):  # a full disk must not keep anybody from looking; the next start continues
            with self._database.writing() as connection:
                connection.execute(delete(schema.client).where(schema.client.c.id.in_(_CUT_OFF)))
            with self._database.writing() as connection:
                self._set_aside.bring_back(connection)  # first: an erasure empties what is set aside
                swept = unfinished and self._database.pictures.sweep(wanted_files(connection))
                if not unfinished:
                    self._set_aside.take_left_overs(connection)
                recount(connection, self._database.pictures)
            if swept:
                self._set_aside.empty()
                self._exports.remove_all()
                self._leave_no_byte()

    def has_unfinished(self) -> bool:
        """True if an erasure was cut off."""
        with self._database.reading() as connection:
            return connection.execute(_CUT_OFF).first() is not None

    def _discard_left_overs(self) -> None:
        """Remove pictures that no record names, such as one whose upload was cut off: they may show the client."""
        with self._database.writing() as connection:
            wanted = wanted_files(connection)
            clean = self._database.pictures.sweep(wanted, IN_HAND)
            left = counted_names(connection) - wanted
            uncount_pictures(connection, [name for name in left if not self._database.pictures.is_there(name)])
        if not clean:
            raise StoreError(
                "The client is erased from the record, but the disk keeps a picture that no record names.",
                "Close all windows of the program and start it again: it will then finish by itself.",
            )

    def _leave_no_byte(self) -> None:
        """Rewrite the database without what was deleted, and note that the erasures are finished."""
        self._remove_safety_copy()
        # the pool's connection itself, because neither statement may run inside a transaction
        with database_faults(), closing(self._database.engine.raw_connection()) as connection:
            rewritten = self._rewrite(connection.cursor())
            busy, *_ = connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        if busy:
            raise Conflict(
                "The client is erased from the record, but another window still reads from the old pages.",
                "Close all windows of the program and start it again: it will then finish by itself.",
            )
        if rewritten:
            self._note_as_finished()

    def _remove_safety_copy(self) -> None:
        with disk_faults("The copy from before the upgrade could not be removed"):
            self._database.layout.safety_copy.unlink(missing_ok=True)

    def _rewrite(self, cursor: DBAPICursor) -> bool:
        """Rewrite the database file; False if the disk has no room for that.

        Deleted content is overwritten in place anyway (`secure_delete`); a rewritten file is also free of remains left
        by programs that do not do that. So it can wait for a start that finds room.
        """
        size = self._database.layout.database.stat().st_size
        if (
            free_bytes(self._database.layout.root) < size + size // 4 + _SLACK_BYTES
        ):  # the log holds the whole file once
            return False
        try:
            with database_faults():
                cursor.execute("VACUUM")
        except StoreFull:
            return False
        return True

    def _note_as_finished(self) -> None:
        unfinished = schema.erasure.c.finished_at.is_(None)
        with suppress(StoreFull), self._database.writing() as connection:  # no byte is left; the next start notes it
            connection.execute(update(schema.erasure).where(unfinished).values(finished_at=time_text(now())))


def _list_as_erased(connection: Connection, client_ids: Iterable[str], erased_at: datetime) -> None:
    """Put identifiers on the erasure list, as not yet finished."""
    lines = [{"client_id": each, "erased_at": time_text(erased_at), "finished_at": None} for each in client_ids]
    connection.execute(insert(schema.erasure).prefix_with("OR REPLACE"), lines)


def _counts(connection: Connection, client_id: str) -> Counts:
    tables = {
        "visits": schema.visit,
        "photos": schema.photo,
        "drafts": schema.draft,
        "consents": schema.consent,
        "edits": schema.edit,
    }
    return Counts(**{name: _count(connection, table, client_id) for name, table in tables.items()})


def known_counts(text: str | None) -> Counts | None:
    """Counts as kept with a receipt; None where they are not known, or can no longer be read."""
    try:
        return None if text is None else Counts(**json.loads(text))
    except (TypeError, ValueError):
        return None


def _count(connection: Connection, table: Table, client_id: str) -> int:
    return connection.execute(select(func.count()).where(table.c.client_id == client_id)).scalar_one()


def _files_of(connection: Connection, client_id: str, *, others: bool = False) -> set[str]:
    """Names of the pictures of one client, or of all others."""
    photo, draft, held = schema.photo, schema.draft, schema.draft_file
    photos, drafts = (
        (column != client_id) if others else (column == client_id) for column in (photo.c.client_id, draft.c.client_id)
    )
    in_drafts = select(held.c.file).join(draft, draft.c.id == held.c.draft_id).where(drafts)
    return set(connection.execute(union(select(photo.c.file).where(photos), in_drafts)).scalars())
