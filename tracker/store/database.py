"""An open store, below the records: its files and its transactions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, cast

from sqlalchemy import Connection, Select, event, select, update

from tracker.errors import DatabaseDamaged, StoreError
from tracker.store import schema
from tracker.store.aside_folder import AsideFolder
from tracker.store.counted import count_picture, counted, uncount_pictures
from tracker.store.engine import make_engine
from tracker.store.faults import RESTORE, database_faults
from tracker.store.folder import Layout
from tracker.store.lookup import find, wanted_files
from tracker.store.mark import Mark, MarkFile
from tracker.store.pictures import Pictures
from tracker.store.room import files_beside, free_to_keep, give_back, limit_of, require_room
from tracker.store.rows import Record, Row, read_records
from tracker.store.settings_file import read_settings
from tracker.store.soundness import SoundnessCheck
from tracker.store.unit import derive
from tracker.store.watching import anything_written, watch

if TYPE_CHECKING:
    import sqlite3


class Database:
    """What every part of the store works with.

    Pictures and rows stay in step by one rule: a row that names a picture is written only once the picture is known to
    be there, and a picture is removed only once no row is known to name it, each inside a transaction that holds the
    write lock.

    Parameters
    ----------
    layout : Layout of the studio's folder, whose database has this program's schema

    Attributes
    ----------
    layout : Layout
    engine : Engine
    pictures : Pictures
    aside : AsideFolder, pictures that no record names
    aside_bytes : int, what they take
    mark : MarkFile
    damaged : bool, True where pages of the database were found to be damaged: what can be read is still read, nothing
        is saved
    """

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.engine = make_engine(layout.database)
        self._readers = self.engine.execution_options(write=False)
        self.pictures = Pictures(layout.pictures)
        self.aside = AsideFolder(layout.set_aside)
        self.aside_bytes = self.aside.weight()
        self.mark = MarkFile(layout.mark)
        self.damaged = False
        event.listen(self.engine, "connect", lambda connection, _record: watch(connection))
        event.listen(self.engine, "commit", _require_unit)

    @contextmanager
    def writing(self, by: str = "", told: Sequence[Row] = ()) -> Iterator[Connection]:
        """One unit of work: the only kind of transaction that may write; all of it is kept, or nothing.

        What follows from the rows written is worked out at its end (`unit.derive`). Any change counts as a save, and
        pictures that no record names any longer are removed after it.

        Parameters
        ----------
        by : str, who saves; empty where nobody is named
        told : lines for the log of edits, as `edits.edit_line` makes them, for a change logged as a whole; may be
            filled inside the transaction

        Raises
        ------
        DatabaseDamaged : the database is damaged; nothing is changed
        """
        saved: Mark | None = None
        left = set[str]()
        with self._noting_damage(), database_faults():
            with self.engine.begin() as connection:
                before = _changes(connection)
                yield connection
                if _changes(connection) != before:
                    self.require_sound()
                    left = derive(connection, by, told)
                    saved = count_save(connection)
            if saved is not None:  # after the commit, never before
                self.mark.follow(saved)
        self.tidy_files(left)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that sees one state of the record, beside any writer."""
        with self._noting_damage(), database_faults(), self._readers.begin() as connection:
            yield connection

    @contextmanager
    def _noting_damage(self) -> Iterator[None]:
        """Remember if the database turns out to be damaged."""
        try:
            yield
        except DatabaseDamaged:
            self.damaged = True
            raise

    def look_again(self) -> None:
        """Read the whole database because a copy of it was not sound: the other disk may be at fault."""
        self.damaged |= SoundnessCheck(self.layout.database, thorough=True).verdict() is False

    def require_sound(self) -> None:
        """Check that the database may be written to.

        Raises
        ------
        DatabaseDamaged
        """
        if self.damaged:
            raise DatabaseDamaged(
                "The database is damaged, so nothing more is saved into it: it could be lost there.", RESTORE
            )

    def one(self, shape: type[Record], identifier: str) -> Record:
        """The record of that shape and identifier, as `lookup.find`."""
        with self.reading() as connection:
            return find(connection, shape, identifier)

    def records(self, shape: type[Record], query: Select[Any]) -> list[Record]:
        """The records of rows with ``id`` and ``record``, in the order of the query; damaged ones are left out."""
        with self.reading() as connection:
            return list(read_records(shape, connection.execute(query)))

    def keep_picture(self, connection: Connection, content: bytes) -> str:
        """Keep a picture and count it, inside a transaction that holds the write lock; returns its name.

        Raises
        ------
        StoreFull : the folder would hold more than allowed, or there is no room on the disk
        """
        # under the lock: two at once could each fit, but not both
        name = self.pictures.put(content, lambda size: self._require_room(connection, size))
        count_picture(connection, name, len(content))
        return name

    def _require_room(self, connection: Connection, more: int) -> None:
        used, free = self.bytes_used(connection), free_to_keep(self.layout)
        require_room(used, more, limit_of(read_settings(self.layout.settings), used, free), free)

    def bytes_used(self, connection: Connection) -> int:
        """What the folder takes. Pictures are counted in the database: walking the folder would cost more with each."""
        return counted(connection)[1] + files_beside(self.layout) + self.aside_bytes

    def make_way(self) -> None:
        """On a full disk, release the reserve for removing something; keeping a photo has to do without."""
        give_back(self.layout)

    def discard_files(self, names: Iterable[str]) -> None:
        """Remove pictures that no record names any longer; none if the database is damaged, as that may hide a name."""
        candidates = set(names)
        if not candidates or self.damaged:
            return
        with self.writing() as connection:
            going = sorted(candidates - wanted_files(connection))
            for name in going:
                self.pictures.remove(name)
                self.aside.remove(name)  # where the same content is there too
            uncount_pictures(connection, going)

    def tidy_files(self, names: Iterable[str]) -> None:
        """As `discard_files`, after a save that holds either way: what cannot go is set aside at the next start."""
        with suppress(StoreError):
            self.discard_files(names)

    def require_pictures(self, names: Iterable[str]) -> None:
        """Check that pictures are there.

        Raises
        ------
        NotFound
        """
        for name in set(names):
            self.pictures.path(name)


def _changes(connection: Connection) -> int:
    """How many rows this connection has ever changed."""
    driver = cast("sqlite3.Connection", connection.connection.dbapi_connection)
    return driver.total_changes


def _require_unit(connection: Connection) -> None:
    """Refuse rows written outside the unit of work: nothing was worked out from them."""
    if anything_written(connection):
        raise RuntimeError("Rows were written outside `Database.writing`.")


def count_save(connection: Connection) -> Mark | None:
    """Raise the counter of saves, within the transaction that saves."""
    connection.execute(update(schema.studio).values(saves=schema.studio.c.saves + 1))
    return mark_in(connection)


def mark_in(connection: Connection) -> Mark | None:
    """Which studio the database belongs to, and how often something was saved in it; None where that is not noted."""
    row = connection.execute(select(schema.studio.c.id, schema.studio.c.saves)).first()
    return None if row is None else Mark(row.id, row.saves)
