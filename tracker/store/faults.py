"""What the database or the disk reports, as errors a person can act on."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError

from tracker.errors import Conflict, DatabaseDamaged, NotFound, StoreError, StoreFull

RESTORE = "Restore the last backup into a new folder, and start the program with that."
_NO_ROOM = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


@contextmanager
def database_faults() -> Iterator[None]:
    """Turn the database's own errors into those of the store.

    Raises
    ------
    Conflict : somebody else has locked the database, or the identifier is taken
    NotFound : the record it belongs to is gone
    StoreFull : no room on the disk
    DatabaseDamaged : the file is not a sound database
    StoreError : anything else
    """
    try:
        yield
    except DBAPIError as error:
        if not isinstance(error.orig, sqlite3.Error):
            raise
        raise _database_fault(error.orig) from error
    except sqlite3.Error as error:
        raise _database_fault(error) from error


def _database_fault(error: sqlite3.Error) -> StoreError:
    code = getattr(error, "sqlite_errorcode", 0)
    if code == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
        return NotFound("The record that this belongs to is gone.", "Go back and open the client again.")
    primary = code & 0xFF
    if primary == sqlite3.SQLITE_CONSTRAINT:
        return Conflict("A record with this identifier already exists.", "Load the page again.")
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return Conflict("Another window is saving at this moment.", "Try again in a few seconds.")
    # the index of the log could not grow: another way a full disk is reported
    if primary == sqlite3.SQLITE_FULL or code == sqlite3.SQLITE_IOERR_SHMSIZE:
        return no_room()
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return DatabaseDamaged("The database file is damaged.", RESTORE)
    return StoreError(f"The database could not be used ({error}).", "Check the disk and the permissions of its folder.")


@contextmanager
def disk_faults(what: str) -> Iterator[None]:
    """Turn errors of the disk into those of the store.

    Parameters
    ----------
    what : str, what could not be done, such as ``"The photo could not be kept"``

    Raises
    ------
    StoreFull : no room on the disk
    StoreError : anything else that the disk refuses
    """
    try:
        yield
    except OSError as error:
        if error.errno in _NO_ROOM:
            raise no_room() from error
        reason = error.strerror or type(error).__name__
        raise StoreError(f"{what} ({reason}).", "Check the disk and the permissions of the folder.") from error


def no_room() -> StoreFull:
    """The error for a disk that is full."""
    return StoreFull("The disk is full.", "Make room on it, then try again; nothing saved before is lost.")
