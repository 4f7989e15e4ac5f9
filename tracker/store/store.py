"""The store: everything that the studio keeps, behind one door."""

from __future__ import annotations

from contextlib import ExitStack, suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import select

from tracker.errors import DatabaseDamaged, StoreDamaged, StoreError
from tracker.store import schema
from tracker.store.absence import Absence
from tracker.store.backup import Backups
from tracker.store.clients import Clients
from tracker.store.database import mark_in
from tracker.store.disk_room import DiskRoom
from tracker.store.drafts import Drafts
from tracker.store.edits import Edits
from tracker.store.engine import make_engine
from tracker.store.erasure import Erasing
from tracker.store.faults import database_faults
from tracker.store.folder import Layout, private_folder
from tracker.store.half_restored import remove_half_restored
from tracker.store.identity import require_right_database
from tracker.store.importing import Importing
from tracker.store.kept import Kept
from tracker.store.merging import Merging
from tracker.store.migrate import migrate
from tracker.store.outcomes import Outcomes
from tracker.store.photos import Photos
from tracker.store.pictures import Pictures
from tracker.store.portfolio import Portfolio
from tracker.store.presence import Presence
from tracker.store.prices import Prices
from tracker.store.room import give_back_to_open
from tracker.store.rows import KINDS, DamagedRecord, read_record
from tracker.store.searching import Searching
from tracker.store.set_aside import IN_HAND
from tracker.store.settings import StudioSettings
from tracker.store.soundness import AT_START_SECONDS, SoundnessCheck
from tracker.store.visits import Visits
from tracker.store.wearing import Wearing
from tracker.store.yardsticks import OwnYardsticks


class Store(
    Clients,
    Visits,
    Photos,
    Drafts,
    Portfolio,
    Prices,
    Edits,
    Searching,
    Outcomes,
    Wearing,
    OwnYardsticks,
    Kept,
    Absence,
    Importing,
    Merging,
    Erasing,
    Backups,
    DiskRoom,
    StudioSettings,
):
    """An open studio's folder. One instance serves all threads of a program.

    Opening creates or upgrades the database, looks at its pages, and, where no other program has the folder open,
    finishes erasures that were cut off and sets aside pictures that no record names.

    Parameters
    ----------
    root : Path of the folder, made if it is not there

    Raises
    ------
    WrongDatabase : not the database that the pictures belong to, or none; nothing is changed
    NewerDatabase : made by a newer version of this program; nothing is changed
    Conflict : another program is busy opening or upgrading the same folder
    StoreFull : the disk has not even the room that opening takes, and no reserve is left
    StoreError : the folder cannot be made or written
    """

    def __init__(self, root: Path) -> None:
        layout = Layout(private_folder(Path(root)))
        with ExitStack() as undo, database_faults():
            if not layout.lock.exists():
                require_right_database(layout)  # before the lock is made: what is refused stays as it was, to the file
            presence = Presence(layout.lock)
            undo.callback(presence.close)
            require_right_database(layout, in_use=not presence.alone)
            give_back_to_open(layout)
            migrate(layout.database, layout.safety_copy)
            engine = make_engine(layout.database)
            undo.callback(engine.dispose)
            self._tidied = True
            super().__init__(layout, engine, Pictures(layout.pictures))
            self._check = SoundnessCheck(layout.database)
            undo.callback(self._check.stop)
            if presence.alone:
                self._begin_alone()
            else:
                self._note_verdict(AT_START_SECONDS)
            presence.let_others_in()
            self._closing = undo.pop_all()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close all connections; a second time does nothing."""
        self._closing.close()

    def _begin_alone(self) -> None:
        """Remove what a killed restore left beside, write the mark, and tidy up where the database is sound."""
        remove_half_restored(self.root.resolve().parent)
        with self._reading() as connection:
            mark = mark_in(connection)
        if mark is not None:
            with suppress(StoreError):  # a full disk must not keep anybody from looking; the next save tries again
                self._mark.write(mark)
        # an erasure is finished before anybody looks at anything, however long that takes
        with suppress(DatabaseDamaged):  # noted; looking and taking out go on
            sound = self._note_verdict(None if self._has_unfinished_erasure() else AT_START_SECONDS)
            self._tidied = bool(sound)
            if sound:
                self._clean_up()

    def finish_check(self) -> None:
        """Wait until every page of the database was looked at, and set aside what opening had no time for.

        Raises
        ------
        StoreError : the record cannot be read
        """
        if self._note_verdict(None) and not self._tidied:
            with self._writing() as connection:
                self._set_aside_left_overs(connection, IN_HAND)
            self._tidied = True

    def _note_verdict(self, seconds: float | None) -> bool | None:
        """What the check of the pages says within so many seconds, as `SoundnessCheck.verdict`."""
        sound = self._check.verdict(seconds)
        self._damaged |= sound is False
        return sound

    @property
    def root(self) -> Path:
        """The studio's folder."""
        return self._layout.root

    def is_empty(self) -> bool:
        """True where there is no client."""
        with self._reading() as connection:
            return connection.execute(select(schema.client.c.id).limit(1)).first() is None

    def saves(self) -> int:
        """How often something was saved in this studio; it only rises."""
        with self._reading() as connection:
            mark = mark_in(connection)
        return 0 if mark is None else mark.saves

    def damaged(self) -> list[DamagedRecord]:
        """Records that cannot be read any more. The lists leave them out, so somebody should be told here."""
        found = []
        with self._reading() as connection:
            for shape, kind in KINDS.items():
                table = schema.metadata.tables[kind]
                for row in connection.execute(select(table.c.id, table.c.record).order_by(table.c.id)):
                    try:
                        read_record(shape, row.id, row.record)
                    except StoreDamaged:
                        found.append(DamagedRecord(kind, row.id))
        return found
