"""Whether another window or program has the same data open."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from tracker.store.engine import BUSY_SECONDS
from tracker.store.folder import private_file


class Presence:
    """A mark that this store is open; the system takes it away even when the program is killed.

    The mark is the shared lock of an empty SQLite file, because that works between threads, programs
    and operating systems alike. Whoever gets it exclusively at the start is alone, and only then may clean up: a
    picture that no record names may be one that another window is about to save.

    Parameters
    ----------
    path : Path of the lock file

    Attributes
    ----------
    alone : bool, True where nobody else had the data open when this one opened
    """

    def __init__(self, path: Path) -> None:
        private_file(path)
        self._connection = sqlite3.connect(path, isolation_level=None, timeout=0, check_same_thread=False)
        self.alone = _locked(self._connection)
        if not self.alone:
            self._share()

    def _share(self) -> None:
        self._connection.execute(f"PRAGMA busy_timeout={int(BUSY_SECONDS * 1000)}")
        self._connection.execute("BEGIN")
        self._connection.execute("SELECT count(*) FROM sqlite_master").fetchone()

    def let_others_in(self) -> None:
        """End the clean-up: from now on others may open the data too."""
        if self.alone:
            self._connection.execute("COMMIT")
            self._share()

    def close(self) -> None:
        """Take the mark away."""
        self._connection.close()


@contextmanager
def nobody_else(path: Path) -> Iterator[bool]:
    """Keep others out of what a lock file guards, without waiting for anybody.

    Yields
    ------
    bool : False if somebody else is already there
    """
    private_file(path)
    with closing(sqlite3.connect(path, isolation_level=None, timeout=0)) as connection:
        yield _locked(connection)


def _locked(connection: sqlite3.Connection) -> bool:
    try:
        connection.execute("PRAGMA journal_mode=MEMORY")  # no file beside the lock
        connection.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError:
        return False
    return True
