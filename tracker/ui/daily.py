"""What the server does by itself: starting what opens photos, the day's backup, working out who is due."""

from __future__ import annotations

import logging
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from tracker.errors import TrackerError

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
    from tracker.photo import start_reader
    from tracker.ui.catching_up import catch_up_now

    start_reader()
    wait = _FIRST_AFTER_SECONDS
    while not stop.wait(wait):
        back_up_today()
        catch_up_now()
        wait = _AGAIN_AFTER_SECONDS


def back_up_today() -> None:
    """The day's backup, if it is not made yet; a failure goes to the log, and the page says how old the last one is."""
    from tracker.ui.session import open_store
    from tracker.workflow.backups import back_up_at_start

    try:
        back_up_at_start(open_store())
    except TrackerError as error:
        _log.warning("no backup today, or not a whole one: %s", error.code)
    except Exception:  # a thread that ends would end the backups of all days that follow
        _log.exception("no backup today")
