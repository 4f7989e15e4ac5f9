"""Before anything opens: is the database there the one that the pictures beside it belong to?

A new database, a foreign one or one from an earlier state would take pictures for leftovers, and what is saved into it
would be missing from the right one. So then nothing opens, and nothing on the disk is touched.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from tracker.errors import WrongDatabase
from tracker.store.backup_shelf import backups_of
from tracker.store.engine import BUSY_SECONDS
from tracker.store.faults import disk_faults
from tracker.store.folder import Layout
from tracker.store.mark import Mark, read_mark
from tracker.store.migrate import require_known
from tracker.store.unchanged import log_of, opened_unchanged
from tracker.words import count

MISSING = "missing"
EMPTY = "empty"
NO_DATABASE = "no database"
DAMAGED = "damaged"
ANOTHER_PROGRAMS = "another program's"
FOREIGN = "foreign"
OLDER = "older"
UNMARKED = "unmarked"
MARK_DAMAGED = "mark damaged"

_BACKUPS_TOLD = 3
_MAGIC = b"SQLite format 3\0"
_SMALLEST = 512
"""Bytes of the smallest page that SQLite knows: no database is shorter."""


@dataclass(frozen=True, slots=True)
class _State:
    """What the database says about itself.

    Attributes
    ----------
    wrong : str or None, why it cannot be used, whatever is beside it
    mark : Mark or None, which studio, and how often something was saved; None before that was counted
    files : names of the pictures that its records hold, where they are asked for
    """

    wrong: str | None = None
    mark: Mark | None = None
    files: frozenset[str] = frozenset()


def require_right_database(layout: Layout, *, in_use: bool = False) -> None:
    """Check that the database belongs to the pictures beside it and is not from an earlier state. Changes nothing.

    Without a mark, as after an upgrade from a version that had none, the database must account for every picture there;
    one with nothing saved since that upgrade need only hold some of them.

    Parameters
    ----------
    layout : Layout of the studio's folder
    in_use : bool, True where another program has it open, and so has checked it

    Raises
    ------
    WrongDatabase : it does not belong there; the error says what was found
    NewerDatabase : made by a newer version of this program
    StoreError : the folder cannot be read
    """
    with disk_faults("The studio could not be read"):
        mark, whole = _mark(layout)
        state = _state(layout.database, in_use, with_files=mark is None)
        if state.wrong in (MISSING, EMPTY) and whole and not _was_used(layout, mark):
            return
        found = state.wrong or (_compared(layout, state, mark) if whole else MARK_DAMAGED)
        if found is not None:
            raise _refusal(layout, found, state, mark)


def pictures_lying(layout: Layout) -> list[Path]:
    """Every picture file in the studio's folder, including those set aside."""
    return [*layout.pictures.glob("??/*.jpg"), *layout.set_aside.glob("*/*.jpg")]


def _state(database: Path, in_use: bool, with_files: bool) -> _State:
    if not database.exists():
        return _State(MISSING)
    size = database.stat().st_size
    if size == 0:
        return _State(EMPTY)
    with database.open("rb") as file:
        if size < _SMALLEST or file.read(len(_MAGIC)) != _MAGIC:
            return _State(NO_DATABASE)
    try:
        with _shared(database) if in_use else opened_unchanged(database) as connection:
            return _read(connection, with_files)
    except sqlite3.DatabaseError:
        return _State(DAMAGED)


@contextmanager
def _shared(database: Path) -> Iterator[sqlite3.Connection]:
    """A reader beside another program that writes."""
    with closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro", uri=True, timeout=BUSY_SECONDS)) as reader:
        yield reader


def _read(connection: sqlite3.Connection, with_files: bool) -> _State:
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not tables:
        return _State(EMPTY)
    version = connection.execute("SELECT version_num FROM alembic_version").fetchone() if tables >= _OURS else None
    if version is None:
        return _State(ANOTHER_PROGRAMS)
    require_known(version[0])
    counted = connection.execute("SELECT id, saves FROM studio").fetchone() if "studio" in tables else None
    query = "SELECT file FROM photo UNION SELECT file FROM draft_file"
    files = frozenset(name for (name,) in connection.execute(query)) if with_files else frozenset()
    return _State(None, None if counted is None else Mark(*counted), files)


def _mark(layout: Layout) -> tuple[Mark | None, bool]:
    """The mark, and whether what is there can be read."""
    try:
        return read_mark(layout.mark), True
    except ValueError:
        return None, False


def _was_used(layout: Layout, mark: Mark | None) -> bool:
    """Whether anything there would have needed a database."""
    log = log_of(layout.database)
    no_pages = not layout.database.exists() or layout.database.stat().st_size == 0
    only_a_log = no_pages and log.is_file() and log.stat().st_size > 0  # SQLite would throw it away
    return bool(mark and mark.saves) or only_a_log or bool(pictures_lying(layout))


def _compared(layout: Layout, state: _State, mark: Mark | None) -> str | None:
    if mark is None:
        saves = 0 if state.mark is None else state.mark.saves
        strangers = {path.stem for path in layout.pictures.glob("??/*.jpg")} - state.files
        return UNMARKED if strangers and (saves or not state.files) else None
    if state.mark is None:
        return OLDER
    if state.mark.studio != mark.studio:
        return FOREIGN
    return OLDER if state.mark.saves < mark.saves else None


def _refusal(layout: Layout, found: str, state: _State, mark: Mark | None) -> WrongDatabase:
    pictures = len(pictures_lying(layout))
    backups = [backup.folder for backup in backups_of(layout.root)[:_BACKUPS_TOLD]]
    readable = state.wrong is None
    holds = count(pictures, "picture")
    what = f"{_WORDS[found]}{_saves(found, state, mark)}. The folder {layout.root} holds {holds}."
    return WrongDatabase(
        what,
        " ".join(_advice(layout, backups, readable)),
        found=found,
        folder=layout.root,
        pictures=pictures,
        backups=backups,
        readable=readable,
    )


def _saves(found: str, state: _State, mark: Mark | None) -> str:
    if found != OLDER or mark is None:
        return ""
    known = 0 if state.mark is None else state.mark.saves
    return f": it has {known} of the {mark.saves} saves that were made here"


def _advice(layout: Layout, backups: list[Path], readable: bool) -> Iterator[str]:
    yield "Nothing was opened, and nothing was changed."
    if backups:
        yield "Restore a backup into a new folder: measured-hair restore BACKUP NEW_FOLDER."
        yield f"The newest: {', '.join(map(str, backups))}."
    else:
        yield f"There is no backup in {layout.backups}; if you have one elsewhere, restore it into a new folder."
    if readable:
        yield (
            "Or go on with the database as it is, and the pictures it names, in a new folder: "
            f"measured-hair restore {layout.root} NEW_FOLDER."
        )


_OURS = frozenset({"alembic_version", "client", "photo", "draft_file"})
_WORDS = {
    MISSING: "The studio's database is gone",
    EMPTY: "The studio's database is empty",
    NO_DATABASE: "The studio's database is no longer a database",
    DAMAGED: "The studio's database is damaged and cannot be read",
    ANOTHER_PROGRAMS: "The studio's database was made by another program",
    FOREIGN: "The studio's database belongs to another studio",
    OLDER: "The studio's database is from an earlier state",
    UNMARKED: "The note of which database belongs here (studio.json) is gone, and this one does not know every picture",
    MARK_DAMAGED: "The note of which database belongs here (studio.json) is damaged",
}
