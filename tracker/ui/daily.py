"""What the server does on its own: opening photos, checking the database, backups, keeping room back, who is due."""

from __future__ import annotations

import logging
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

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
    try:
        open_store().finish_check()
    except TrackerError as error:
        _log.warning("the database was not looked at: %s", error.code)
    except Exception:  # if the thread ended, so would the backups of every day after
        _log.exception("the database was not looked at")


def keep_reserve() -> None:
    """Keep some room back for looking and erasing on a full disk; before the backup, which may fill it."""
    try:
        open_store().disk.keep_reserve()
    except TrackerError as error:
        _log.warning("no room is kept back for a full disk: %s", error.code)


def back_up_today() -> None:
    """The day's backup, if it has not been made yet; a failure goes to the log, the page tells the last one's age."""
    try:
        back_up_at_start(open_store())
    except TrackerError as error:
        _log.warning("no backup today, or not a whole one: %s", error.code)
    except Exception:  # if the thread ended, so would the backups of every day after
        _log.exception("no backup today")
