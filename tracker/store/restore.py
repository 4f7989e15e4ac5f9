"""Bring a backup back, without those who asked to be erased since it was made."""

from __future__ import annotations

import errno
import json
import os
import sqlite3
import sys
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from tracker.errors import Conflict, NotFound
from tracker.record.records import new_id
from tracker.store.backup import copy_pictures, files_named
from tracker.store.erasure import Erasure, known_counts
from tracker.store.faults import database_faults, disk_faults
from tracker.store.folder import Layout, sync_folder, sync_folders
from tracker.store.half_restored import growing_folder, remove_half_restored
from tracker.store.migrate import copy_from, migrate
from tracker.store.pictures import Pictures
from tracker.store.presence import nobody_else
from tracker.store.rows import time_text
from tracker.store.settings_file import copy_settings
from tracker.store.store import Store
from tracker.store.unchanged import opened_unchanged


@dataclass(frozen=True, slots=True)
class Restoration:
    """What did not come back.

    Attributes
    ----------
    damaged : names of pictures that are missing or altered in the backup
    left_out : int, clients in the backup who have been erased since; records merged before they were erased count as
        one
    """

    damaged: frozenset[str]
    left_out: int


_LIST = """
INSERT INTO erasure (client_id, erased_at, counts) VALUES (?, ?, ?)
ON CONFLICT (client_id) DO UPDATE SET counts = coalesce(counts, excluded.counts)
"""


def restore(backup: Path, root: Path, *, erased: Iterable[Erasure] = ()) -> Restoration:
    """Restore a backup into an empty folder: all of it, or nothing, even if the program is killed meanwhile.

    A studio that does not open can be brought into a new folder in the same way, with the pictures that its database
    names. Nothing is changed in the old one.

    Clients on any erasure list at hand are left out: the list in the backup, the lists in the other
    backups beside it, and `erased`.

    Parameters
    ----------
    backup : Path, as `Backups.make` returned it
    root : Path of the studio's folder, empty or not yet there
    erased : the erasure list of the store being replaced, if it can still be opened

    Returns
    -------
    Restoration : what did not come back

    Raises
    ------
    NotFound : there is no backup in that folder
    Conflict : the folder is not empty, or is a disk of its own
    StoreDamaged : the backup does not pass its check
    NewerDatabase : it was made by a newer version of this program
    """
    source, target = Layout(backup), root.resolve()
    if not source.database.is_file():
        raise NotFound(f"There is no backup in {backup}.", "Choose a folder whose name begins with tracker-backup.")
    _require_empty(target)
    remove_half_restored(target.parent)
    with growing_folder(target.parent) as growing:
        brought = _bring_back(source, Layout(growing), [*erased, *_erased_beside(source)])
        Store(growing).close()  # writes the mark, and finishes the erasures
        _put_in_place(growing, target)
    return brought


def erasures_in(root: Path) -> list[Erasure]:
    """The erasure list of a studio that does not open, as far as it can be read; nothing is changed there."""
    return _erasure_list(Layout(root).database)


def _require_empty(target: Path) -> None:
    if os.path.ismount(target):  # the method of Path does not work on Windows before Python 3.12
        raise Conflict(f"The folder {target} is a disk of its own.", "Choose a new folder on it to restore into.")
    if target.exists() and not (target.is_dir() and not any(target.iterdir())):
        raise _not_empty(target)


def _not_empty(target: Path) -> Conflict:
    return Conflict(f"The folder {target} is not empty.", "Choose an empty folder to restore into.")


def _bring_back(source: Layout, target: Layout, erased: Iterable[Erasure]) -> Restoration:
    """Fill the hidden folder: record, settings, then the pictures that the record names."""
    with database_faults(), _opened(source) as origin:
        copy_from(origin, target.database)
    migrate(target.database, safety_copy=None)
    left_out = _leave_out(target.database, erased)
    copy_settings(source.settings, target.settings)
    damaged = copy_pictures(Pictures(source.pictures), Pictures(target.pictures), files_named(target.database))
    return Restoration(frozenset(damaged), left_out)


@contextmanager
def _opened(source: Layout) -> Iterator[sqlite3.Connection]:
    """The database of a backup, or of a studio that does not open, unchanged; of one in use, as another reader."""
    with ExitStack() as stack:
        if source.lock.exists() and not stack.enter_context(nobody_else(source.lock)):
            yield stack.enter_context(closing(sqlite3.connect(source.database)))
        else:
            yield stack.enter_context(opened_unchanged(source.database))


def _put_in_place(growing: Path, target: Path) -> None:
    """Give the whole studio its name, as the last step."""
    with disk_faults("The studio could not be put in its place"):
        sync_folders(growing)
        if sys.platform == "win32" and target.exists():
            target.rmdir()  # there, one folder cannot replace another
        try:
            growing.rename(target)
        except OSError as error:
            if error.errno in (errno.ENOTEMPTY, errno.EEXIST):  # somebody has put something there meanwhile
                raise _not_empty(target) from error
            raise
        sync_folder(target.parent)


def _leave_out(database: Path, erased: Iterable[Erasure]) -> int:
    """Put the erased on the list as not yet finished, and remove their rows; returns how many clients there were."""
    lines = [(line.client_id, time_text(line.erased_at), _counts_text(line)) for line in erased]
    with database_faults(), closing(sqlite3.connect(database)) as connection:
        connection.execute("PRAGMA foreign_keys=ON")
        connection.execute("PRAGMA secure_delete=ON")
        connection.executemany(_LIST, lines)
        connection.execute("UPDATE erasure SET finished_at = NULL")
        # merged records are listed with one time
        there = "SELECT count(DISTINCT erased_at) FROM erasure WHERE client_id IN (SELECT id FROM client)"
        (left_out,) = connection.execute(there).fetchone()
        connection.execute("DELETE FROM client WHERE id IN (SELECT client_id FROM erasure)")
        # a separate studio from now on: what is saved here and there must never be confused
        connection.execute("UPDATE studio SET id = ?", (new_id(),))
        connection.commit()
    return int(left_out)


def _counts_text(erasure: Erasure) -> str | None:
    return None if erasure.counts is None else json.dumps(asdict(erasure.counts))


def _erased_beside(source: Layout) -> list[Erasure]:
    """Erasure lists of all backups in the same folder, or of those of a studio: a newer one knows of later erasures."""
    lines: list[Erasure] = []
    place = source.backups if source.lock.exists() else source.root.resolve().parent
    for database in place.glob(f"*/{source.database.name}"):
        lines += _erasure_list(database)
    return lines


def _erasure_list(database: Path) -> list[Erasure]:
    try:
        with opened_unchanged(database) as connection:
            connection.row_factory = sqlite3.Row
            rows = [dict(row) for row in connection.execute("SELECT * FROM erasure")]
    except (sqlite3.Error, OSError):  # damage in another backup is no reason to refuse this one
        return []
    # backups of earlier versions have no counts
    return [
        Erasure(row["client_id"], datetime.fromisoformat(row["erased_at"]), known_counts(row.get("counts")))
        for row in rows
    ]
