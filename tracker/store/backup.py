"""A backup of everything, into a folder of its own outside the studio's."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Set
from contextlib import closing
from pathlib import Path

from tracker.errors import DatabaseDamaged, StoreDamaged, StoreError
from tracker.record.records import now
from tracker.store.backup_shelf import Shelf, check_backup, write_contents
from tracker.store.faults import database_faults, disk_faults
from tracker.store.folder import Layout, sync_folder, sync_folders
from tracker.store.lookup import wanted_files
from tracker.store.migrate import copy_database
from tracker.store.part import Part
from tracker.store.pictures import Pictures
from tracker.store.settings_file import copy_settings


class Backups(Part):
    """The part of the store that makes backups."""

    @property
    def shelf(self) -> Shelf:
        """Where the program keeps the backups that it makes on its own."""
        return Shelf(self._database.layout.backups)

    def make(self, folder: Path | None = None) -> Path:
        """Copy the record and all pictures, and check the copy, while others carry on working.

        Pictures that an earlier backup in the same folder also has are shared with it, if the disk can do that.

        Parameters
        ----------
        folder : Path, where backups are collected; made if it is not there. None for `shelf`.

        Returns
        -------
        Path : the new backup, a folder that appears only once it is whole and has passed its check

        Raises
        ------
        StoreFull : no room on that disk
        DatabaseDamaged : the database or its copy is damaged; there is no backup
        StoreDamaged : pictures are missing, altered or cannot be read; the backup is there with all the rest
        StoreError : the folder is inside the studio's own folder, or cannot be written
        """
        shelf = self.shelf if folder is None else Shelf(folder)
        if shelf.folder.resolve().is_relative_to(self._database.layout.root.resolve()):
            raise StoreError("A backup cannot be inside the studio's own folder.", "Choose a folder on another disk.")
        made_at = now()
        with shelf.growing() as growing:
            damaged = self._fill(growing, _earlier(shelf))
            number, final = shelf.next_name(made_at)
            write_contents(growing, number, made_at)
            damaged |= self._mend(growing, check_backup(growing.root).damaged)
            with disk_faults("The backup could not be kept"):
                sync_folders(growing.root)
                growing.root.rename(final)
                sync_folder(shelf.folder)
        if damaged:
            raise StoreDamaged(
                f"The backup {final.name} was made, but {len(damaged)} photo files are missing, altered or unreadable.",
                "Find the photos that do not show, and take them again or remove them.",
            )
        return final

    def _fill(self, target: Layout, earlier: Pictures | None) -> set[str]:
        """Write the backup; returns names of pictures that are not whole in the studio.

        Pictures go first, and again after the record, so that none is missing that the copied record still names.
        """
        kept = Pictures(target.pictures)
        with self._database.reading() as connection:
            first = wanted_files(connection)
        damaged = copy_pictures(self._database.pictures, kept, first, earlier)
        try:
            copy_database(self._database.layout.database, target.database)
        except DatabaseDamaged:
            self._database.look_again()
            raise
        copy_settings(self._database.layout.settings, target.settings)
        wanted = files_named(target.database)
        damaged = (damaged & wanted) | copy_pictures(self._database.pictures, kept, wanted - first, earlier)
        for name in first - wanted:
            kept.remove(name)
        return damaged

    def _mend(self, target: Layout, damaged: Iterable[str]) -> set[str]:
        """Take pictures that the check found damaged, as shared ones may be, from the studio; returns the rest."""
        kept, names = Pictures(target.pictures), set(damaged)
        for name in names:
            kept.remove(name)
        return copy_pictures(self._database.pictures, kept, names)


def copy_pictures(
    source: Pictures, target: Pictures, names: Iterable[str], earlier: Pictures | None = None
) -> set[str]:
    """Copy pictures into a folder not yet in use, each checked against its name as it is read.

    Parameters
    ----------
    source, target : Pictures
    names : of the pictures
    earlier : of a backup on the target's disk, whose pictures are shared without reading their content if the disk can
        do that: the check of the whole backup reads them, once. One lost in the source is kept from there.

    Returns
    -------
    set of str : names of those that are not whole in the source

    Raises
    ------
    StoreFull, StoreError : the target's disk refuses it
    """
    damaged, written = set[str](), list[str]()
    for name in sorted(names):
        content = _whole(source, name)
        if content is None:
            damaged.add(name)
        if earlier is not None and target.share(name, earlier):
            continue
        if content is None and earlier is not None:
            content = _whole(earlier, name)
        if content is not None:
            target.take(name, content)
            written.append(name)
    target.settle(written)
    return damaged


def _whole(pictures: Pictures, name: str) -> bytes | None:
    """Content of a picture, None where it is missing, altered or cannot be read."""
    try:
        return pictures.get(name)
    except StoreError:
        return None


def _earlier(shelf: Shelf) -> Pictures | None:
    """Pictures of the last backup made."""
    made = shelf.backups()
    return Pictures(Layout(made[0].folder).pictures) if made else None


def files_named(database: Path) -> Set[str]:
    """Names of the pictures that the records of a copied database hold."""
    query = "SELECT file FROM photo UNION SELECT file FROM draft_file"
    with database_faults(), closing(sqlite3.connect(database)) as connection:
        return {name for (name,) in connection.execute(query)}
