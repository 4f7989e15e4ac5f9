"""The store: everything that the studio keeps, behind one door."""

from __future__ import annotations

from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Self

from sqlalchemy import select

from tracker.errors import DatabaseDamaged, StoreError
from tracker.store import schema
from tracker.store.backup import Backups
from tracker.store.clients import Clients
from tracker.store.consents import Consents
from tracker.store.database import Database, mark_in
from tracker.store.disk_room import DiskRoom
from tracker.store.drafts import Drafts
from tracker.store.edits import Edits
from tracker.store.erasure import Erasures
from tracker.store.exports import Exports
from tracker.store.faults import database_faults
from tracker.store.folder import Layout, private_folder
from tracker.store.half_restored import remove_half_restored
from tracker.store.identity import require_right_database
from tracker.store.importing import Importing
from tracker.store.kept import Kept
from tracker.store.kept_pictures import KeptPictures
from tracker.store.migrate import migrate
from tracker.store.outcomes import Outcomes
from tracker.store.photos import Photos
from tracker.store.portfolio import Portfolio
from tracker.store.presence import Presence
from tracker.store.prices import Prices
from tracker.store.remeasuring import Remeasuring
from tracker.store.room import give_back_to_open
from tracker.store.rows import KINDS, DamagedRecord, readable
from tracker.store.set_aside import IN_HAND, SetAside
from tracker.store.settings import StudioSettings
from tracker.store.soundness import AT_START_SECONDS, SoundnessCheck
from tracker.store.undo import Deletions
from tracker.store.visits import Visits
from tracker.store.wearing import Wearing
from tracker.store.yardsticks import OwnYardsticks


class Store:
    """An open studio's folder, as parts that each keep one thing. One instance serves all threads of a program.

    Opening creates or upgrades the database, looks at its pages, and, where no other program has the folder open,
    finishes erasures that were cut off and sets aside pictures that no record names.

    Parameters
    ----------
    root : Path of the folder, made if it is not there

    Attributes
    ----------
    clients, consents, visits, photos, pictures, drafts, prices : the record
    edits, deletions : what was there before a change, and what can be taken back
    outcomes, wear, portfolio : what is worked out from the record, and which of it may be shown
    remeasuring : readings by an earlier version of the method
    yardsticks, settings : what the studio measures with, and its choices
    importing, kept, exports, backups : what comes in as a list, and what goes out
    erasures, set_aside : what is forgotten, and what no record names
    disk : how much room there is
    database : transactions and files; only for the parts, and for tests

    Raises
    ------
    WrongDatabase : not the database that the pictures belong to, or none; nothing is changed
    NewerDatabase : made by a newer version of this program; nothing is changed
    Conflict : another program is busy opening or upgrading the same folder
    StoreFull : the disk does not even have the room that opening takes, and no reserve is left
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
            self.database = Database(layout)
            undo.callback(self.database.engine.dispose)
            self._make_parts(self.database)
            self._tidied = True
            self._check = SoundnessCheck(layout.database)
            undo.callback(self._check.stop)
            if presence.alone:
                self._begin_alone()
            else:
                self._note_verdict(AT_START_SECONDS)
            presence.let_others_in()
            self._closing = undo.pop_all()

    def _make_parts(self, database: Database) -> None:
        self.deletions = Deletions(database)
        self.clients = Clients(database, self.deletions)
        self.consents = Consents(database)
        self.visits = Visits(database, self.deletions)
        self.photos = Photos(database, self.deletions)
        self.pictures = KeptPictures(database)
        self.drafts = Drafts(database, self.deletions)
        self.prices = Prices(database, self.deletions)
        self.edits = Edits(database)
        self.outcomes = Outcomes(database)
        self.wear = Wearing(database)
        self.remeasuring = Remeasuring(database)
        self.portfolio = Portfolio(database)
        self.yardsticks = OwnYardsticks(database)
        self.settings = StudioSettings(database)
        self.importing = Importing(database)
        self.kept = Kept(database)
        self.exports = Exports(database)
        self.backups = Backups(database)
        self.set_aside = SetAside(database, self.settings)
        self.erasures = Erasures(database, self.deletions, self.exports, self.set_aside)
        self.disk = DiskRoom(database)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_raised: object) -> None:
        self.close()

    def close(self) -> None:
        """Close all connections; calling it again does nothing."""
        self._closing.close()

    def _begin_alone(self) -> None:
        """Remove what a killed restore left beside it, write the mark, and tidy up if the database is sound."""
        remove_half_restored(self.root.resolve().parent)
        with self.database.reading() as connection:
            mark = mark_in(connection)
        if mark is not None:
            with suppress(StoreError):  # a full disk must not keep anybody from looking; the next save tries again
                self.database.mark.write(mark)
        # an erasure is finished before anybody looks at anything, however long that takes
        with suppress(DatabaseDamaged):  # noted; looking and taking out carry on
            sound = self._note_verdict(None if self.erasures.has_unfinished() else AT_START_SECONDS)
            self._tidied = bool(sound)
            if sound:
                self.erasures.clean_up()

    def finish_check(self) -> None:
        """Wait until every page of the database has been checked, and set aside what opening had no time for.

        Raises
        ------
        StoreError : the record cannot be read
        """
        if self._note_verdict(None) and not self._tidied:
            with self.database.writing() as connection:
                self.set_aside.take_left_overs(connection, IN_HAND)
            self._tidied = True

    def _note_verdict(self, seconds: float | None) -> bool | None:
        """What the check of the pages says within so many seconds, as `SoundnessCheck.verdict`."""
        sound = self._check.verdict(seconds)
        self.database.damaged |= sound is False
        return sound

    @property
    def root(self) -> Path:
        """The studio's folder."""
        return self.database.layout.root

    def is_empty(self) -> bool:
        """True where there is no client."""
        with self.database.reading() as connection:
            return connection.execute(select(schema.client.c.id).limit(1)).first() is None

    def saves(self) -> int:
        """How often something was saved in this studio; it only rises."""
        with self.database.reading() as connection:
            mark = mark_in(connection)
        return 0 if mark is None else mark.saves

    def damaged_records(self) -> list[DamagedRecord]:
        """Records that cannot be read any more. The lists leave them out, so somebody should be told here."""
        found: list[DamagedRecord] = []
        with self.database.reading() as connection:
            for shape, kind in KINDS.items():
                table = schema.metadata.tables[kind]
                rows = connection.execute(select(table.c.id, table.c.record).order_by(table.c.id))
                found += [DamagedRecord(kind, row.id) for row in rows if readable(shape, row.id, row.record) is None]
        return found
