"""Bring the database file to this program's schema, all the way or not at all."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect

from tracker.errors import DatabaseDamaged, NewerDatabase, StoreDamaged
from tracker.store.engine import make_engine
from tracker.store.faults import RESTORE, database_faults, disk_faults
from tracker.store.folder import private_file
from tracker.store.unit import rebuild

_SCRIPTS = Path(__file__).parent / "migrations"


def migrate(path: Path, safety_copy: Path | None) -> None:
    """Create or upgrade the database.

    Runs in one transaction that also keeps other programs from migrating at the same time.

    Parameters
    ----------
    path : Path of the SQLite file, made if it is not there
    safety_copy : Path or None, where an existing database is copied before it is upgraded; replaces the last copy. None
        only where there is another copy.

    Raises
    ------
    NewerDatabase : the file is of a revision unknown to this program; it is left as it is
    StoreDamaged : the file is not this program's database, or its rows no longer refer to each other
    """
    private_file(path)
    engine = make_engine(path, foreign_keys=False)
    try:
        with database_faults(), engine.begin() as connection:
            _upgrade(connection, path, safety_copy)
    finally:
        engine.dispose()


def alembic_config(connection: Connection) -> Config:
    """Alembic's settings for a connection already inside its transaction."""
    config = Config()
    config.set_main_option("script_location", str(_SCRIPTS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def _upgrade(connection: Connection, path: Path, safety_copy: Path | None) -> None:
    config = alembic_config(connection)
    revision = MigrationContext.configure(connection).get_current_revision()
    if revision == _head(_SCRIPTS):
        return
    if revision is not None:
        require_known(revision)
        if safety_copy is not None:
            copy_database(path, safety_copy)
    elif inspect(connection).get_table_names():
        raise StoreDamaged(f"The file {path} is another program's database.", "Choose another data folder.")
    command.upgrade(config, "head")
    rebuild(connection)
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if broken:
        raise StoreDamaged(
            f"The database could not be upgraded: {len(broken)} records lost what they belong to.",
            "It is left as it was. Keep using the earlier version and report this.",
        )


def require_known(revision: str) -> None:
    """Check that a database of that revision was not made by a newer version of this program.

    Raises
    ------
    NewerDatabase
    """
    if revision not in _known(_SCRIPTS):
        raise NewerDatabase(
            f"The database was made by a newer version of this program (revision {revision}).",
            "Install the newer version; nothing was changed.",
        )


@cache
def _head(scripts: Path) -> str | None:
    """The newest revision; reading the scripts again would take a third of the time it takes to open a studio."""
    return ScriptDirectory(str(scripts)).get_current_head()


@cache
def _known(scripts: Path) -> frozenset[str]:
    return frozenset(script.revision for script in ScriptDirectory(str(scripts)).walk_revisions())


def copy_database(source: Path, target: Path) -> None:
    """Copy a database that may be in use, as one file that holds everything committed.

    A copy of the file alone would miss what is still in the write-ahead log.

    Parameters
    ----------
    source : Path of the database
    target : Path of the copy; an existing one is replaced only once the new one is whole

    Raises
    ------
    DatabaseDamaged : the copy does not pass its check
    StoreFull : no room on the disk
    """
    with database_faults(), closing(sqlite3.connect(source)) as origin:
        copy_from(origin, target)


def copy_from(origin: sqlite3.Connection, target: Path) -> None:
    """As `copy_database`, of a database already open."""
    growing = target.with_name(f"{target.name}.tmp")
    growing.unlink(missing_ok=True)
    private_file(growing)
    try:
        with database_faults(), closing(sqlite3.connect(growing)) as copy:
            origin.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")  # one file, no log beside it
            check_integrity(copy)
        with disk_faults("The copy of the database could not be kept"):
            with growing.open("rb+") as file:
                os.fsync(file.fileno())
            growing.replace(target)
    finally:
        growing.unlink(missing_ok=True)


def check_integrity(connection: sqlite3.Connection) -> None:
    """Let the database check itself.

    Raises
    ------
    DatabaseDamaged : it found something
    """
    (verdict,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
    broken = connection.execute("PRAGMA foreign_key_check").fetchone()
    if verdict != "ok" or broken is not None:
        raise DatabaseDamaged("The database does not pass its own check.", RESTORE)
