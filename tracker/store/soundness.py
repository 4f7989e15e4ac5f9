"""Whether the pages of the database are sound: checked alongside everything else, so that nothing waits long for it."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

AT_START_SECONDS = 2.0
"""How long opening waits for the verdict. Some hundred megabytes are read in that time; the rest of a larger
database is read while the first page is shown."""

_DAMAGE = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})


class SoundnessCheck:
    """Reads every page of a database in a thread of its own, from the moment it is made.

    Parameters
    ----------
    database : Path
    thorough : bool, True to compare every index with its table too, which takes some ten times as long
    """

    def __init__(self, database: Path, *, thorough: bool = False) -> None:
        self._verdict: bool | None = None
        self._question = "integrity_check" if thorough else "quick_check"
        self._connection = sqlite3.connect(
            f"{database.resolve().as_uri()}?mode=ro", uri=True, check_same_thread=False, isolation_level=None
        )
        self._connection.execute("PRAGMA temp_store=MEMORY")
        self._thread = threading.Thread(target=self._run, name="database check", daemon=True)
        self._thread.start()

    def verdict(self, seconds: float | None = None) -> bool | None:
        """Wait for the end, at most so many seconds; None to wait as long as it takes.

        Returns
        -------
        bool or None : True if every page is sound, False if one is damaged; None while that is not known, or if it
            could not be found out
        """
        self._thread.join(seconds)
        return None if self._thread.is_alive() else self._verdict

    def stop(self) -> None:
        """Stop it, finished or not."""
        if self._thread.is_alive():
            self._connection.interrupt()
            self._thread.join()

    def _run(self) -> None:
        with closing(self._connection) as connection:
            try:
                (said,) = connection.execute(f"PRAGMA {self._question}(1)").fetchone()
            except sqlite3.Error as error:
                if (getattr(error, "sqlite_errorcode", 0) & 0xFF) in _DAMAGE:
                    self._verdict = False
                return  # busy or interrupted: nothing is known
            self._verdict = said == "ok"
