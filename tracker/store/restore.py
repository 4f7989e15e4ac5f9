"""Bring a backup back, without those who asked to be erased since it was made."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from tracker.errors import Conflict, NotFound
from tracker.store.backup import copy_pictures, files_named
from tracker.store.erasure import Erasure, known_counts
from tracker.store.faults import database_faults, disk_faults
from tracker.store.folder import Layout, private_folder
from tracker.store.migrate import copy_database, migrate
from tracker.store.pictures import Pictures
from tracker.store.rows import time_text
from tracker.store.settings_file import copy_settings
from tracker.store.store import Store


@dataclass(frozen=True, slots=True)
class Restoration:
    """What did not come back.

    Attributes
    ----------
    damaged : names of pictures that are missing or altered in the backup
    left_out : int, clients whom the backup holds and who were erased since; records merged before they were erased
        are one
    """

    damaged: frozenset[str]
    left_out: int


_LIST = """
INSERT INTO erasure (client_id, erased_at, counts) VALUES (?, ?, ?)
ON CONFLICT (client_id) DO UPDATE SET counts = coalesce(counts, excluded.counts)
"""


def restore(backup: Path, root: Path, *, erased: Iterable[Erasure] = ()) -> Restoration:
    """Restore a backup into an empty folder.

    Clients on any erasure list at hand are left out: the list in the backup, the lists in the other
    backups beside it, and `erased`.

    Parameters
    ----------
    backup : Path, as `Store.backup` returned it
    root : Path of the studio's folder, empty or not there yet
    erased : the erasure list of the store that is replaced, where it can still be opened

    Returns
    -------
    Restoration : what did not come back

    Raises
    ------
    NotFound : there is no backup in that folder
    Conflict : the folder is not empty
    StoreDamaged : the backup does not pass its check
    NewerDatabase : it was made by a newer version of this program
    """
    source, target = Layout(backup), Layout(private_folder(root))
    if not source.database.is_file():
        raise NotFound(f"There is no backup in {backup}.", "Choose a folder whose name begins with tracker-backup.")
    if any(root.iterdir()):
        raise Conflict(f"The folder {root} is not empty.", "Choose an empty folder to restore into.")
    try:
        brought = _bring_back(source, target, [*erased, *_erased_beside(backup)])
        Store(root).close()  # finishes the erasures
    except BaseException:
        _empty(root)
        raise
    return brought


def _bring_back(source: Layout, target: Layout, erased: Iterable[Erasure]) -> Restoration:
    """Write the folder; the database gets its name last, so that a restore cut off is no studio's folder."""
    growing = target.root / "restoring.sqlite"
    copy_database(source.database, growing)
    migrate(growing, safety_copy=None)
    left_out = _leave_out(growing, erased)
    damaged = copy_pictures(Pictures(source.pictures), Pictures(target.pictures), files_named(growing))
    copy_settings(source.settings, target.settings)
    with disk_faults("The database could not be restored"):
        growing.replace(target.database)
    return Restoration(frozenset(damaged), left_out)


def _leave_out(database: Path, erased: Iterable[Erasure]) -> int:
    """Put the erased on the list as not yet finished, and remove their rows; returns how many clients that were."""
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
        connection.commit()
        connection.execute("PRAGMA journal_mode=DELETE")  # nothing beside the file when it is renamed
    return int(left_out)


def _counts_text(erasure: Erasure) -> str | None:
    return None if erasure.counts is None else json.dumps(asdict(erasure.counts))


def _erased_beside(backup: Path) -> list[Erasure]:
    """Erasure lists of all backups in the same folder: a newer one knows of later erasures."""
    lines: list[Erasure] = []
    for database in backup.resolve().parent.glob(f"*/{Layout(backup).database.name}"):
        lines += _erasure_list(database)
    return lines


def _erasure_list(database: Path) -> list[Erasure]:
    address = f"{database.as_uri()}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True)) as connection:
            connection.row_factory = sqlite3.Row
            rows = [dict(row) for row in connection.execute("SELECT * FROM erasure")]
    except sqlite3.Error:  # another backup that is damaged is no reason to refuse this one
        return []
    # backups of earlier versions have no counts
    return [
        Erasure(row["client_id"], datetime.fromisoformat(row["erased_at"]), known_counts(row.get("counts")))
        for row in rows
    ]


def _empty(root: Path) -> None:
    for path in root.iterdir():
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
