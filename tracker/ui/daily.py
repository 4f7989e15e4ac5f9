"""What the server does on its own: opening photos, checking the database, backups, keeping room back, who is due."""

from __future__ import annotations

import logging
import threading
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager

from tracker.errors import TrackerError
from tracker.photo import start_reader
from tracker.ui.catching_up import catch_up_now
from tracker.ui.session import open_store
from tracker.workflow.backups import back_up_at_start

_log = logging.getLogger("tracker.ui")

_FIRST_AFTER_SECONDS = 20
"""The first page comes first: a backup reads every picture."""

_AGAIN_AFTER_SECONDS = 3600


@asynccontextmanager
async def lifespan(_app: object) -> AsyncIterator[None]:
    """Back up once a day while the server runs, for `st.App`."""
    stop = threading.Event()
    threading.Thread(target=_run, args=(stop,), name="daily backup", daemon=True).start()
    try:
        yield
    finally:
        stop.set()


def _run(stop: threading.Event) -> None:
    start_reader()
    wait = _FIRST_AFTER_SECONDS
    while not stop.wait(wait):
        look_at_database()
        keep_reserve()
        back_up_today()
        catch_up_now()
        wait = _AGAIN_AFTER_SECONDS


def look_at_database() -> None:
    """Go on checking a database that was too large to check while it was opened; the pages say what is found."""
    with _logged("the database was not looked at"):
        open_store().finish_check()


def keep_reserve() -> None:
    """Keep some room back for looking and erasing on a full disk; before the backup, which may fill it."""
    with _logged("no room is kept back for a full disk"):
        open_store().disk.keep_reserve()


def back_up_today() -> None:
    """The day's backup, if it has not been made yet; the page tells the last one's age."""
    with _logged("no backup today, or not a whole one"):
        back_up_at_start(open_store())


@contextmanager
def _logged(what: str) -> Iterator[None]:
    """Let a failure go to the log: if the thread ended, so would the backups of every day after."""
    try:
        yield
    except TrackerError as error:
        _log.warning("%s: %s", what, error.code)
    except Exception:
        _log.exception(what)
