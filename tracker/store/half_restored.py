"""The hidden folder in which a restore grows, so that a restore that is killed leaves nothing that opens.

Its name begins with a dot and it is beside the folder it is for; a lock beside it tells whether it is still in use.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import uuid4

from tracker.errors import Conflict, StoreError
from tracker.store.folder import private_folder
from tracker.store.presence import nobody_else

_PREFIX = ".tracker-restoring-"
_LOCK = ".lock"


@contextmanager
def growing_folder(place: Path) -> Iterator[Path]:
    """A hidden folder to restore into; whatever is still there at the end is removed.

    Parameters
    ----------
    place : Path of the folder in which it is made

    Raises
    ------
    Conflict : another program is tidying up there
    StoreError : it cannot be made
    """
    growing = private_folder(place) / f"{_PREFIX}{uuid4().hex}"
    lock = growing.with_name(f"{growing.name}{_LOCK}")
    try:
        with nobody_else(lock) as alone:  # before the folder is made, so that none is ever there without its lock
            if not alone:  # another program is looking for leftovers at this very moment
                raise Conflict("Another program is tidying up beside that folder.", "Try again in a moment.")
            try:
                yield private_folder(growing)
            finally:
                shutil.rmtree(growing, ignore_errors=True)
    finally:
        lock.unlink(missing_ok=True)


def remove_half_restored(place: Path) -> None:
    """Remove what a killed restore left behind; one that is still running is left alone.

    Parameters
    ----------
    place : Path of the folder in which studios are
    """
    with suppress(OSError, StoreError, sqlite3.Error):  # nothing waits for this: it is tried again at the next start
        for lock in place.glob(f"{_PREFIX}*{_LOCK}"):
            _remove(lock)


def _remove(lock: Path) -> None:
    growing = lock.with_name(lock.name.removesuffix(_LOCK))
    with nobody_else(lock) as alone:
        if not alone:
            return
        shutil.rmtree(growing, ignore_errors=True)
    if not growing.exists():
        lock.unlink(missing_ok=True)
