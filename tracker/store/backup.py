"""A backup of everything, into a folder of its own on another disk."""

from __future__ import annotations

import shutil
import sqlite3
import sys
from collections.abc import Iterable, Set
from contextlib import closing
from pathlib import Path
from uuid import uuid4

from tracker.errors import NotFound, StoreDamaged, StoreError
from tracker.records import now
from tracker.store.database import Database, wanted_files
from tracker.store.faults import database_faults, disk_faults
from tracker.store.folder import Layout, private_folder, sync_folder
from tracker.store.migrate import copy_database
from tracker.store.pictures import Pictures


class Backups(Database):
    """The part of the store that makes backups."""

    def backup(self, folder: Path) -> Path:
        """Copy the record and all pictures, and check the copy, while others go on working.

        Parameters
        ----------
        folder : Path, where backups are collected; made if it is not there

        Returns
        -------
        Path : the new backup, a folder of its own that appears only once it is whole

        Raises
        ------
        StoreFull : no room on that disk
        StoreDamaged : pictures are missing or altered; the backup is there with all the others
        StoreError : the folder lies inside the studio's own folder, or cannot be written
        """
        if folder.resolve().is_relative_to(self._layout.root.resolve()):
            raise StoreError("A backup cannot lie inside the studio's own folder.", "Choose a folder on another disk.")
        final = private_folder(folder) / f"tracker-backup-{now():%Y%m%d-%H%M%S-%f}"
        growing = Layout(private_folder(folder / f".{uuid4().hex}.tmp"))
        try:
            damaged = self._fill(growing)
            with disk_faults("The backup could not be kept"):
                growing.root.rename(final)
                sync_folder(folder)
        finally:
            shutil.rmtree(growing.root, ignore_errors=True)
        if damaged:
            raise StoreDamaged(
                f"The backup {final.name} is made, but {len(damaged)} photo files are missing or altered.",
                "Open the photos that do not show, and take them again or remove them.",
            )
        return final

    def _fill(self, target: Layout) -> set[str]:
        """Write the backup; returns names of pictures that could not be copied.

        Pictures go first and again after the record, so that one removed meanwhile is not missed by a copy
        of the record that still names it.
        """
        kept = Pictures(target.pictures, target.root, quota_bytes=sys.maxsize)
        with self._reading() as connection:
            first = wanted_files(connection)
        copy_pictures(self._pictures, kept, first)
        copy_database(self._layout.database, target.database)
        wanted = files_named(target.database)
        damaged = copy_pictures(self._pictures, kept, wanted - set(kept.names()))
        kept.sweep(wanted)
        return damaged


def copy_pictures(source: Pictures, target: Pictures, names: Iterable[str]) -> set[str]:
    """Copy pictures and read each copy back; returns names of those that are missing or altered."""
    damaged = set()
    for name in sorted(names):
        try:
            content = source.get(name)
        except (NotFound, StoreDamaged):
            damaged.add(name)
            continue
        target.get(target.put(content))
    return damaged


def files_named(database: Path) -> Set[str]:
    """Names of the pictures that the records of a copied database hold."""
    query = "SELECT file FROM photo UNION SELECT file FROM draft_file"
    with database_faults(), closing(sqlite3.connect(database)) as connection:
        return {name for (name,) in connection.execute(query)}
