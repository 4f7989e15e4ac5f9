"""Erase a client so that no byte of them is left in the studio's folder."""

from __future__ import annotations

from contextlib import closing
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, Table, delete, func, insert, select, union, update

from tracker.errors import Conflict
from tracker.records import now
from tracker.store import schema
from tracker.store.database import Database, require_client, wanted_files
from tracker.store.faults import database_faults, disk_faults
from tracker.store.rows import time_text


@dataclass(frozen=True, slots=True)
class Erasure:
    """One line of the erasure list: all that is left of an erased client.

    Attributes
    ----------
    client_id : str, opaque
    erased_at : datetime
    """

    client_id: str
    erased_at: datetime


@dataclass(frozen=True, slots=True)
class Receipt:
    """What an erasure removed.

    Attributes
    ----------
    client_id : str, opaque
    erased_at : datetime
    visits, photos : int, records
    files : int, pictures; one that another client's photo names too stays and is not counted
    """

    client_id: str
    erased_at: datetime
    visits: int
    photos: int
    files: int


class Erasing(Database):
    """The part of the store that forgets."""

    def erase_client(self, client_id: str) -> Receipt:
        """Erase a client with consents, visits, photos, drafts and pictures.

        Deleted content is overwritten, the database file is rewritten, its log emptied and the copy from the
        last upgrade removed. Backups elsewhere still hold the client: `restore` erases them again. An erasure
        that is cut off is finished when the data is next opened.

        Raises
        ------
        NotFound : no such client
        Conflict : another window reads for so long that the log cannot be emptied now
        """
        with self._writing() as connection:
            require_client(connection, client_id)
            erased_at = now()
            visits = _count(connection, schema.visit, client_id)
            photos = _count(connection, schema.photo, client_id)
            held = _files_of(connection, client_id)
            connection.execute(delete(schema.client).where(schema.client.c.id == client_id))
            line = {"client_id": client_id, "erased_at": time_text(erased_at), "finished_at": None}
            connection.execute(insert(schema.erasure).prefix_with("OR REPLACE"), line)
        files = self._discard_files(held)
        self._leave_no_byte()
        return Receipt(client_id, erased_at, visits, photos, files)

    def erasures(self) -> list[Erasure]:
        """The erasure list, oldest first: give it to `restore` with an older backup."""
        table = schema.erasure
        with self._reading() as connection:
            rows = connection.execute(select(table).order_by(table.c.erased_at)).all()
        return [Erasure(row.client_id, datetime.fromisoformat(row.erased_at)) for row in rows]

    def _clean_up(self) -> None:
        """Remove what a crash left. Only for a store that is alone with its folder."""
        cut_off = select(schema.erasure.c.client_id).where(schema.erasure.c.finished_at.is_(None))
        with self._writing() as connection:
            unfinished = connection.execute(cut_off).first() is not None
            connection.execute(delete(schema.client).where(schema.client.c.id.in_(cut_off)))
        with self._writing() as connection:
            swept = self._pictures.sweep(wanted_files(connection))
        if unfinished and swept:
            self._leave_no_byte()

    def _leave_no_byte(self) -> None:
        """Rewrite the database without what was deleted, and note that the erasures are finished."""
        with disk_faults("The copy from before the upgrade could not be removed"):
            self._layout.safety_copy.unlink(missing_ok=True)
        # the pool's connection itself, because neither statement may run inside a transaction
        with database_faults(), closing(self._engine.raw_connection()) as connection:
            connection.cursor().execute("VACUUM")
            busy, *_ = connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        if busy:
            raise Conflict(
                "The client is erased from the record, but another window still reads from the old pages.",
                "Close all windows of the program and start it again: it then finishes by itself.",
            )
        unfinished = schema.erasure.c.finished_at.is_(None)
        with self._writing() as connection:
            connection.execute(update(schema.erasure).where(unfinished).values(finished_at=time_text(now())))


def _count(connection: Connection, table: Table, client_id: str) -> int:
    return connection.execute(select(func.count()).where(table.c.client_id == client_id)).scalar_one()


def _files_of(connection: Connection, client_id: str) -> set[str]:
    photo, draft, held = schema.photo, schema.draft, schema.draft_file
    in_drafts = select(held.c.file).join(draft, draft.c.id == held.c.draft_id).where(draft.c.client_id == client_id)
    of_photos = select(photo.c.file).where(photo.c.client_id == client_id)
    return set(connection.execute(union(of_photos, in_drafts)).scalars())
