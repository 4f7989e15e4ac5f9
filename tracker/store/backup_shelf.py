"""Backups that lie in one folder: which there are, whether they are whole, and when they go."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import sys
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tracker.errors import NotFound, StoreDamaged, StoreError
from tracker.records import now
from tracker.store.faults import database_faults, disk_faults
from tracker.store.folder import Layout, private_file
from tracker.store.migrate import check_integrity
from tracker.store.pictures import Pictures

PREFIX = "tracker-backup-"

EXPIRE_AFTER = timedelta(days=30)
MOST = 10
"""How long and how many: who was erased is gone from every backup of this folder after so many days."""

_CUT_OFF_AFTER = timedelta(days=1)  # longer than any backup takes
_CONTENTS = "contents.json"
_STAMP = "%Y%m%d-%H%M%S"


@dataclass(frozen=True, slots=True)
class Backup:
    """One backup.

    Attributes
    ----------
    folder : Path
    made_at : datetime
    clients, visits, photos : int or None, how many it holds, as written when it was made
    """

    folder: Path
    made_at: datetime
    clients: int | None = None
    visits: int | None = None
    photos: int | None = None


@dataclass(frozen=True, slots=True)
class BackupCheck:
    """What checking a backup found.

    Attributes
    ----------
    rows : int, records of all kinds
    pictures : int, whole ones
    damaged : names of pictures that are missing or altered
    """

    rows: int
    pictures: int
    damaged: frozenset[str]


class Shelf:
    """The backups in a folder.

    Parameters
    ----------
    folder : Path, need not be there
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def backups(self) -> list[Backup]:
        """All backups, newest first."""
        found = [_described(folder) for folder in self.folder.glob(f"{PREFIX}*") if Layout(folder).database.is_file()]
        return sorted(found, key=lambda backup: backup.made_at, reverse=True)

    def expire(self) -> int:
        """Remove backups that are too old or too many, but never the newest; returns how many.

        Raises
        ------
        StoreError : the disk keeps one of them
        """
        oldest_kept = now() - EXPIRE_AFTER
        removed = 0
        for left in self.folder.glob(".*.tmp"):  # a backup that was cut off
            if datetime.fromtimestamp(left.stat().st_mtime, UTC) < now() - _CUT_OFF_AFTER:
                shutil.rmtree(left, ignore_errors=True)
        for number, backup in enumerate(self.backups()):
            if number > 0 and (number >= MOST or backup.made_at < oldest_kept):
                with disk_faults("An old backup could not be removed"):
                    shutil.rmtree(backup.folder)
                removed += 1
        return removed


def backups_of(root: Path) -> list[Backup]:
    """The backups of a studio, newest first, whether it opens or not."""
    return Shelf(Layout(root).backups).backups()


def write_contents(backup: Layout, made_at: datetime) -> None:
    """Note in a backup what it holds, so that a later check knows when something is lost."""
    contents = {
        "made_at": made_at.isoformat(),
        "rows": _counts(backup.database),
        "database_sha256": _sha256(backup.database),
    }
    note = private_file(backup.root / _CONTENTS)
    with disk_faults("The backup could not be kept"), note.open("w", encoding="utf-8") as file:
        json.dump(contents, file, indent=1)
        file.flush()
        os.fsync(file.fileno())


def check_backup(folder: Path) -> BackupCheck:
    """Check a backup: the database's own check, its content against what was noted, and every picture's content.

    Raises
    ------
    NotFound : there is no backup in that folder
    StoreDamaged : its database is damaged or not what was noted, or the note cannot be read
    """
    layout = Layout(folder)
    if not layout.database.is_file():
        raise NotFound(f"There is no backup in {folder}.", f"Choose a folder whose name begins with {PREFIX}.")
    contents = _contents(folder)
    if not contents and (folder / _CONTENTS).exists():
        raise _altered(folder, "the note of what it holds cannot be read")
    if "database_sha256" in contents and _sha256(layout.database) != contents["database_sha256"]:
        raise _altered(folder, "its database is not the one that was written")
    with database_faults(), closing(_opened(layout.database)) as connection:
        check_integrity(connection)
        files = "SELECT file FROM photo UNION SELECT file FROM draft_file"
        names = {name for (name,) in connection.execute(files)}
    rows = _counts(layout.database)
    if rows != contents.get("rows", rows):
        raise _altered(folder, "it holds other numbers of records than were written")
    pictures = Pictures(layout.pictures, folder, quota_bytes=sys.maxsize)
    damaged = {name for name in names if not pictures.is_whole(name)}
    return BackupCheck(sum(rows.values()), len(names) - len(damaged), frozenset(damaged))


def _altered(folder: Path, how: str) -> StoreError:
    return StoreDamaged(f"The backup {folder.name} is damaged: {how}.", "Use another backup.")


def _described(folder: Path) -> Backup:
    contents = _contents(folder)
    rows = contents.get("rows", {})
    return Backup(folder, _made_at(folder, contents), *(rows.get(kind) for kind in ("client", "visit", "photo")))


def _made_at(folder: Path, contents: dict[str, Any]) -> datetime:
    try:
        return datetime.fromisoformat(str(contents["made_at"]))
    except (KeyError, ValueError):
        pass
    try:
        return datetime.strptime(folder.name.removeprefix(PREFIX)[:15], _STAMP).replace(tzinfo=UTC)
    except ValueError:
        return datetime.fromtimestamp(folder.stat().st_mtime, UTC)


def _contents(folder: Path) -> dict[str, Any]:
    """What was noted; nothing in backups of earlier versions, or where it cannot be read."""
    try:
        found = json.loads((folder / _CONTENTS).read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _counts(database: Path) -> dict[str, int]:
    """How many rows each table has."""
    with database_faults(), closing(_opened(database)) as connection:
        tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name").fetchall()
        return {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for (name,) in tables}  # noqa: S608


def _opened(database: Path) -> sqlite3.Connection:
    """A connection that writes nothing, not even a log beside the file."""
    return sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro&immutable=1", uri=True)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
