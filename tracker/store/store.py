"""The store: everything that the studio keeps, behind one door."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import select

from tracker.errors import StoreDamaged
from tracker.store import schema
from tracker.store.absence import Absence
from tracker.store.backup import Backups
from tracker.store.clients import Clients
from tracker.store.disk_room import DiskRoom
from tracker.store.drafts import Drafts
from tracker.store.edits import Edits
from tracker.store.engine import make_engine
from tracker.store.erasure import Erasing
from tracker.store.faults import database_faults
from tracker.store.folder import Layout, private_folder
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
from tracker.store.settings import StudioSettings
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
    StudioSettings,
    OwnYardsticks,
    Kept,
    Absence,
    Importing,
    Merging,
    Erasing,
    Backups,
    DiskRoom,
):
    """An open studio's folder. One instance serves all threads of a program.

    Opening creates or upgrades the database, and, where no other program has the folder open,
    removes what a crash left and finishes erasures that were cut off.

    Parameters
    ----------
    root : Path of the folder, made if it is not there

    Raises
    ------
    NewerDatabase : made by a newer version of this program; nothing is changed
    StoreDamaged : no sound database, or pictures without one
    Conflict : another program is busy opening or upgrading the same folder
    StoreFull : the disk has not even the room that opening takes, and no reserve is left
    StoreError : the folder cannot be made or written
    """

    def __init__(self, root: Path) -> None:
        layout = Layout(private_folder(Path(root)))
        with ExitStack() as undo, database_faults():
            give_back_to_open(layout)
            presence = Presence(layout.lock)
            undo.callback(presence.close)
            _refuse_lost_database(layout)
            migrate(layout.database, layout.safety_copy)
            engine = make_engine(layout.database)
            undo.callback(engine.dispose)
            super().__init__(layout, engine, Pictures(layout.pictures))
            if presence.alone:
                self._clean_up()
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

    @property
    def root(self) -> Path:
        """The studio's folder."""
        return self._layout.root

    def is_empty(self) -> bool:
        """True where there is no client."""
        with self._reading() as connection:
            return connection.execute(select(schema.client.c.id).limit(1)).first() is None

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


def _refuse_lost_database(layout: Layout) -> None:
    """Check that no pictures lie there without a database: a new one would take them all for left-overs.

    Raises
    ------
    StoreDamaged
    """
    if not layout.database.exists() and next(layout.pictures.glob("??/*.jpg"), None) is not None:
        raise StoreDamaged(
            f"The folder {layout.root} holds photos, but its database is gone.",
            "Restore a backup into an empty folder; nothing here was changed.",
        )
