"""Working out who is due and past results beside the pages, so that none of them waits for it."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from tracker.store import Store
from tracker.ui.session import open_store
from tracker.workflow.results import catch_up_results
from tracker.workflow.wearing import catch_up

A_PAGE_WAITS = 0.3
"""Seconds a page spends on it before leaving the rest to the thread: enough for a few clients or visits."""

_log = logging.getLogger("tracker.ui")
_one_at_a_time = threading.Lock()


def caught_up() -> int:
    """Work out what is quick and start on the rest; returns how many clients are still to be worked out."""
    return _begun(catch_up)


def results_caught_up() -> int:
    """The same for past results; returns how many visits are still to be worked out."""
    return _begun(catch_up_results)


def catch_up_now() -> None:
    """Work out everything, unless another thread is doing so or the database is damaged; a failure goes to the log."""
    if not _one_at_a_time.acquire(blocking=False):
        return
    try:
        store = open_store()
        if not store.database.damaged:
            catch_up_results(store)
            catch_up(store)
    except Exception:  # in a thread of its own, a failure would otherwise go unheard
        _log.exception("who is due, or past results, was not worked out")
    finally:
        _one_at_a_time.release()


def _begun(work: Callable[[Store, float], int]) -> int:
    store = open_store()
    left = 0 if store.database.damaged else work(store, A_PAGE_WAITS)
    if left:
        threading.Thread(target=catch_up_now, name="who is due", daemon=True).start()
    return left
