"""A backup of everything, into a folder of its own outside the studio's."""

from __future__ import annotations

import shutil
import sqlite3
import sys
from collections.abc import Iterable, Set
from contextlib import closing
from pathlib import Path
from uuid import uuid4

from tracker.errors import DatabaseDamaged, StoreDamaged, StoreError
from tracker.records import now
from tracker.store.backup_shelf import PREFIX, Shelf, check_backup, write_contents
from tracker.store.database import Database, wanted_files
from tracker.store.faults import database_faults, disk_faults
from tracker.store.folder import Layout, private_folder, sync_folder, sync_folders
from tracker.store.migrate import copy_database
from tracker.store.pictures import Pictures


class Backups(Database):
    """The part of the store that makes backups."""

    @property
    def shelf(self) -> Shelf:
        """Where the backups lie that the program makes by itself."""
        return Shelf(self._layout.backups)

    def backup(self, folder: Path | None = None) -> Path:
        """Copy the record and all pictures, and check the copy, while others go on working.

        Pictures that an earlier backup in the same folder has too are shared with it, where the disk can do that.

        Parameters
        ----------
        folder : Path, where backups are collected; made if it is not there. None for `shelf`.

        Returns
        -------
        Path : the new backup, a folder of its own that appears only once it is whole and has passed its check

        Raises
        ------
        StoreFull : no room on that disk
        DatabaseDamaged : the database is damaged, or its copy is; there is no backup
        StoreDamaged : pictures are missing, altered or cannot be read; the backup is there with all the others
        StoreError : the folder lies inside the studio's own folder, or cannot be written
        """
        place = folder or self._layout.backups
        if place.resolve().is_relative_to(self._layout.root.resolve()):
            raise StoreError("A backup cannot lie inside the studio's own folder.", "Choose a folder on another disk.")
        made_at = now()
        final = private_folder(place) / f"{PREFIX}{made_at:%Y%m%d-%H%M%S-%f}"
        growing = Layout(private_folder(place / f".{uuid4().hex}.tmp"))
        try:
            damaged = self._fill(growing, _earlier(place))
            write_contents(growing, made_at)
            damaged |= check_backup(growing.root).damaged
            with disk_faults("The backup could not be kept"):
                sync_folders(growing.root)
                growing.root.rename(final)
                sync_folder(place)
        finally:
            shutil.rmtree(growing.root, ignore_errors=True)
        if damaged:
            raise StoreDamaged(
                f"The backup {final.name} is made, but {len(damaged)} photo files are missing, altered or unreadable.",
                "Open the photos that do not show, and take them again or remove them.",
            )
        return final

    def _fill(self, target: Layout, earlier: Pictures | None) -> set[str]:
        """Write the backup; returns names of pictures that could not be copied.

        Pictures go first and again after the record, so that one removed meanwhile is not missed by a copy
        of the record that still names it.
        """
        kept = Pictures(target.pictures, target.root, quota_bytes=sys.maxsize)
        with self._reading() as connection:
            first = wanted_files(connection)
        damaged = copy_pictures(self._pictures, kept, first, earlier)
        try:
            copy_database(self._layout.database, target.database)
        except DatabaseDamaged:
            self._look_again()
            raise
        wanted = files_named(target.database)
        damaged = (damaged & wanted) | copy_pictures(self._pictures, kept, wanted - first, earlier)
        kept.sweep(wanted)
        return damaged


def copy_pictures(
    source: Pictures, target: Pictures, names: Iterable[str], earlier: Pictures | None = None
) -> set[str]:
    """Copy pictures, or share them with an earlier backup; returns names of those not whole in the source.

    A picture that is lost in the source and whole in the earlier backup is kept from there.
    """
    damaged = set()
    for name in sorted(names):
        if not source.is_whole(name):
            damaged.add(name)
        whole = next((each for each in (earlier, source) if each is not None and each.is_whole(name)), None)
        if whole is None or (whole is earlier and target.share(name, earlier)):
            continue
        target.put(whole.get(name))
    return damaged


def _earlier(place: Path) -> Pictures | None:
    """Pictures of the newest backup in a folder."""
    newest = max(place.glob(f"{PREFIX}*/"), default=None)
    return None if newest is None else Pictures(Layout(newest).pictures, newest, quota_bytes=sys.maxsize)


def files_named(database: Path) -> Set[str]:
    """Names of the pictures that the records of a copied database hold."""
    query = "SELECT file FROM photo UNION SELECT file FROM draft_file"
    with database_faults(), closing(sqlite3.connect(database)) as connection:
        return {name for (name,) in connection.execute(query)}
