"""The backups in one folder: which there are, in what order, whether they are whole, and when they go.

They are ordered by a number, never by a date: the computer's clock may be ahead or behind for a while.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any
from uuid import uuid4

from tracker.errors import NotFound, StoreDamaged, StoreError
from tracker.store.faults import database_faults, disk_faults
from tracker.store.folder import Layout, private_file, private_folder
from tracker.store.migrate import check_integrity
from tracker.store.pictures import Pictures
from tracker.store.presence import Presence

PREFIX = "tracker-backup-"

MOST = 10
EXPIRE_AFTER = timedelta(days=30)
"""How many, and how long by `age`: so an erased client leaves every backup in this folder, whatever the clock says."""

_LONGEST_PAUSE = timedelta(days=7)

_STRAY_AFTER_SECONDS = 86400.0
_CONTENTS = "contents.json"
_STAMP = "%Y%m%d-%H%M%S"
_NAME = re.compile(rf"{PREFIX}(?:(?P<number>\d{{6,7}})-)?(?P<stamp>\d{{8}}-\d{{6}})(?!\d)")


@dataclass(frozen=True, slots=True)
class Backup:
    """One backup.

    Attributes
    ----------
    folder : Path
    number : int, grows with each backup in a folder; 0 for those of earlier versions, which had no number
    made_at : datetime, by the clock of that moment
    clients, visits, photos : int or None, how many it holds, as written when it was made
    """

    folder: Path
    number: int
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
        """All backups, the last made first; those without a number are the oldest, in the order of their dates."""
        found = [_described(folder) for folder in self.folder.glob(f"{PREFIX}*") if Layout(folder).database.is_file()]
        return sorted(found, key=lambda backup: (backup.number, backup.made_at, backup.folder.name), reverse=True)

    def next_name(self, made_at: datetime) -> tuple[int, Path]:
        """Number and folder of the next backup."""
        number = 1 + max((backup.number for backup in self.backups()), default=0)
        return number, self.folder / f"{PREFIX}{number:06d}-{made_at:%Y%m%d-%H%M%S-%f}"

    @contextmanager
    def growing(self) -> Iterator[Layout]:
        """A hidden folder to make a backup in; it is removed at the end unless it was renamed.

        A lock beside it says that it is in use, so nobody has to judge by the clock whether it was cut off.
        """
        name = f".{uuid4().hex}"
        lock = private_folder(self.folder) / f"{name}.lock"
        with database_faults():
            presence = Presence(lock)
            presence.let_others_in()
        folder = self.folder / f"{name}.tmp"
        try:
            yield Layout(private_folder(folder))
        finally:
            shutil.rmtree(folder, ignore_errors=True)
            presence.close()
            lock.unlink(missing_ok=True)

    def expire(self) -> int:
        """Remove backups that are too old or too many, but never the last made; returns how many.

        Raises
        ------
        StoreError : the disk keeps one of them
        """
        self._remove_cut_off()
        removed, times = 0, list[datetime]()
        for place, backup in enumerate(self.backups()):
            times.insert(0, backup.made_at)
            if place >= MOST or age(times) > EXPIRE_AFTER:
                with disk_faults("An old backup could not be removed"):
                    shutil.rmtree(backup.folder)
                removed += 1
        return removed

    def _remove_cut_off(self) -> None:
        """Remove what is left of backups that were cut off, and nothing that is being made now."""
        for left in self.folder.glob(".*.tmp"):
            lock = left.with_suffix(".lock")
            if not _is_held(lock):
                shutil.rmtree(left, ignore_errors=True)
                lock.unlink(missing_ok=True)
        for lock in self.folder.glob(".*.lock"):
            # of a backup cut off at its very end; one just made may be about to get its folder
            if not lock.with_suffix(".tmp").exists() and abs(time.time() - lock.stat().st_mtime) > _STRAY_AFTER_SECONDS:
                lock.unlink(missing_ok=True)


def backups_of(root: Path) -> list[Backup]:
    """The backups of a studio, newest first, whether or not it opens."""
    return Shelf(Layout(root).backups).backups()


def age(times: Sequence[datetime]) -> timedelta:
    """How old the first of some backups is, by the backups made after it and never by today's date.

    Counted from one to the next, a week at most for a pause, and without the longest pause. A clock that is ahead or
    behind for a while shows as one long pause, so it makes nothing older; and however wrong a clock is, six newer
    backups are there before one is 30 days old.

    Parameters
    ----------
    times : when they were made, in the order of their numbers
    """
    pauses = [min(max(later - earlier, timedelta()), _LONGEST_PAUSE) for earlier, later in pairwise(times)]
    return sum(pauses, timedelta()) - max(pauses, default=timedelta())


def write_contents(backup: Layout, number: int, made_at: datetime) -> None:
    """Note in a backup what it holds, so that a later check can tell whether something is lost."""
    contents = {
        "number": number,
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
    """Check a backup: the database's own check, its content against what was noted, and the content of every picture.

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
        raise _altered(folder, "it does not hold the number of records that were written")
    pictures = Pictures(layout.pictures)
    damaged = {name for name in names if not pictures.is_whole(name)}
    return BackupCheck(sum(rows.values()), len(names) - len(damaged), frozenset(damaged))


def _altered(folder: Path, how: str) -> StoreError:
    return StoreDamaged(f"The backup {folder.name} is damaged: {how}.", "Use another backup.")


def _is_held(lock: Path) -> bool:
    if not lock.exists():  # as with what an earlier version left
        return False
    with database_faults(), closing(Presence(lock)) as presence:
        return not presence.alone


def _described(folder: Path) -> Backup:
    contents = _contents(folder)
    rows = contents.get("rows")
    known = [rows.get(kind) if isinstance(rows, dict) else None for kind in ("client", "visit", "photo")]
    return Backup(folder, _number(folder, contents), _made_at(folder, contents), *known)


def _number(folder: Path, contents: dict[str, Any]) -> int:
    noted, named = contents.get("number"), _NAME.match(folder.name)
    if isinstance(noted, int) and noted > 0:
        return noted
    return int(named["number"] or 0) if named else 0


def _made_at(folder: Path, contents: dict[str, Any]) -> datetime:
    try:
        noted = datetime.fromisoformat(str(contents["made_at"]))
        return noted if noted.tzinfo else noted.replace(tzinfo=UTC)
    except (KeyError, ValueError):
        pass
    try:
        named = _NAME.match(folder.name)
        return datetime.strptime(named["stamp"] if named else "", _STAMP).replace(tzinfo=UTC)
    except ValueError:
        return datetime.fromtimestamp(folder.stat().st_mtime, UTC)


def _contents(folder: Path) -> dict[str, Any]:
    """What was noted; nothing in backups of earlier versions, or if it cannot be read."""
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
