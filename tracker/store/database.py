"""An open store, below the records: its files, its transactions, and the checks that all records share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, TypeVar, cast

from sqlalchemy import Column, Connection, Engine, Table, select, union, update

from tracker.errors import ConsentMissing, DatabaseDamaged, NotFound, StoreError
from tracker.records import MEASURING
from tracker.store import schema
from tracker.store.aside_folder import AsideFolder
from tracker.store.counted import count_picture, counted, uncount_pictures
from tracker.store.faults import RESTORE, database_faults
from tracker.store.folder import Layout
from tracker.store.mark import Mark, MarkFile
from tracker.store.pictures import Pictures
from tracker.store.room import files_beside, free_to_keep, give_back, limit_of, require_room
from tracker.store.rows import KINDS, Identified, read_record
from tracker.store.settings_file import read_settings
from tracker.store.soundness import SoundnessCheck

if TYPE_CHECKING:
    import sqlite3

Record = TypeVar("Record", bound=Identified)


class Database:
    """What every part of the store works with.

    Pictures and rows stay in step by one rule: a row that names a picture is written only after the
    picture was seen, and a picture is removed only after no row was seen to name it, each inside a
    transaction that holds the write lock.

    Parameters
    ----------
    layout : Layout of the studio's folder
    engine : Engine, as `engine.make_engine` gives it
    pictures : Pictures
    """

    def __init__(self, layout: Layout, engine: Engine, pictures: Pictures) -> None:
        self._layout = layout
        self._engine = engine
        self._readers = engine.execution_options(write=False)
        self._pictures = pictures
        self._aside = AsideFolder(layout.set_aside)
        self._aside_bytes = self._aside.weight()
        self._mark = MarkFile(layout.mark)
        self._damaged = False

    @property
    def database_damaged(self) -> bool:
        """True where pages of the database were found to be damaged: what can be read still is, nothing is saved."""
        return self._damaged

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        """A transaction that alone may write; all of it is kept, or nothing. What changes something counts as a save.

        Raises
        ------
        DatabaseDamaged : the database is damaged; nothing is changed
        """
        saved: Mark | None = None
        with self._noting_damage(), database_faults():
            with self._engine.begin() as connection:
                before = _changes(connection)
                yield connection
                if _changes(connection) != before:
                    self._require_sound()
                    saved = count_save(connection)
            if saved is not None:  # after the commit, never before
                self._mark.follow(saved)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        """A transaction that sees one state of the record, beside any writer."""
        with self._noting_damage(), database_faults(), self._readers.begin() as connection:
            yield connection

    @contextmanager
    def _noting_damage(self) -> Iterator[None]:
        """Remember where the database turns out to be damaged."""
        try:
            yield
        except DatabaseDamaged:
            self._damaged = True
            raise

    def _look_again(self) -> None:
        """Read the whole database because a copy of it was not sound: the fault may be the other disk's."""
        self._damaged |= SoundnessCheck(self._layout.database, thorough=True).verdict() is False

    def _require_sound(self) -> None:
        if self._damaged:
            raise DatabaseDamaged(
                "The database is damaged, so nothing more is saved into it: it could be lost there.", RESTORE
            )

    def _one(self, shape: type[Record], identifier: str) -> Record:
        with self._reading() as connection:
            return find(connection, shape, identifier)

    def _keep_picture(self, connection: Connection, content: bytes) -> str:
        """Keep a picture and count it, inside a transaction that holds the write lock; returns its name.

        Raises
        ------
        StoreFull : the folder would hold more than it may, or no room on the disk
        """
        # under the lock: two at once could both fit, but not together
        name = self._pictures.put(content, lambda size: self._require_room(connection, size))
        count_picture(connection, name, len(content))
        return name

    def _require_room(self, connection: Connection, more: int) -> None:
        used, free = self._bytes_used(connection), free_to_keep(self._layout)
        require_room(used, more, limit_of(read_settings(self._layout.settings), used, free), free)

    def _bytes_used(self, connection: Connection) -> int:
        """What the folder takes. Pictures are counted in the database: walking them would cost more with each."""
        return counted(connection)[1] + files_beside(self._layout) + self._aside_bytes

    def _make_way(self) -> None:
        """On a full disk, give the reserve to what removes something; what keeps a photo has to do without."""
        give_back(self._layout)

    def _discard_files(self, names: Iterable[str]) -> None:
        """Remove pictures that no record names any more; a damaged database may hide a name, so then none."""
        candidates = set(names)
        if not candidates or self._damaged:
            return
        with self._writing() as connection:
            going = sorted(candidates - wanted_files(connection))
            for name in going:
                self._pictures.remove(name)
                self._aside.remove(name)  # where the same content lies there too
            uncount_pictures(connection, going)

    def _tidy_files(self, names: Iterable[str]) -> None:
        """As `_discard_files`, after a save that stands either way: what cannot go is set aside at the next start."""
        with suppress(StoreError):
            self._discard_files(names)

    def _require_pictures(self, names: Iterable[str]) -> None:
        for name in set(names):
            self._pictures.path(name)


def _changes(connection: Connection) -> int:
    """How many rows this connection ever changed."""
    driver = cast("sqlite3.Connection", connection.connection.dbapi_connection)
    return driver.total_changes


def count_save(connection: Connection) -> Mark | None:
    """Raise the counter of saves, within the transaction that saves."""
    connection.execute(update(schema.studio).values(saves=schema.studio.c.saves + 1))
    return mark_in(connection)


def mark_in(connection: Connection) -> Mark | None:
    """Which studio the database is of, and how often something was saved in it; None where that is not noted."""
    row = connection.execute(select(schema.studio.c.id, schema.studio.c.saves)).first()
    return None if row is None else Mark(row.id, row.saves)


def find(connection: Connection, shape: type[Record], identifier: str) -> Record:
    """The record of that shape and identifier.

    Raises
    ------
    NotFound, StoreDamaged
    """
    table = schema.metadata.tables[KINDS[shape]]
    text = connection.execute(select(table.c.record).where(table.c.id == identifier)).scalar_one_or_none()
    if text is None:
        raise missing(KINDS[shape])
    return read_record(shape, identifier, text)


def missing(kind: str) -> NotFound:
    """The error for a record that is not there."""
    return NotFound(f"There is no such {kind}.", "It may have been removed in another window; load the page again.")


def stored(connection: Connection, column: Column[str], identifier: str) -> str | None:
    """One column of the row of that identifier, None where there is no row."""
    value: str | None = connection.execute(
        select(column).where(table_of(column).c.id == identifier)
    ).scalar_one_or_none()
    return value


def table_of(column: Column[str]) -> Table:
    """The table that a column belongs to."""
    return column.table


def require_client(connection: Connection, client_id: str) -> None:
    """Check that the client is there, even where its record is damaged.

    Raises
    ------
    NotFound
    """
    if stored(connection, schema.client.c.id, client_id) is None:
        raise missing("client")


def agreed(connection: Connection, client_id: str, purpose: str) -> bool:
    """Whether the client's latest answer for that purpose is yes."""
    latest = (
        select(schema.consent.c.given)
        .where(schema.consent.c.client_id == client_id, schema.consent.c.purpose == purpose)
        .order_by(schema.consent.c.number.desc())
        .limit(1)
    )
    return bool(connection.execute(latest).scalar_one_or_none())


def require_measuring(connection: Connection, client_id: str) -> None:
    """Check that the client is there and agrees to being photographed and measured.

    Raises
    ------
    NotFound, ConsentMissing
    """
    require_client(connection, client_id)
    if not agreed(connection, client_id, MEASURING):
        raise ConsentMissing(
            "The client has not agreed to being photographed and measured.",
            "Read the statement to them and record the answer on the client's page.",
        )


def wanted_files(connection: Connection) -> set[str]:
    """Names of all pictures that a photo or a draft holds."""
    return set(connection.execute(union(select(schema.photo.c.file), select(schema.draft_file.c.file))).scalars())
