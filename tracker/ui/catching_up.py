"""Working out who is due beside the pages, so that none of them waits for it."""

from __future__ import annotations

import logging
import threading

from tracker.ui.session import open_store
from tracker.workflow.wearing import catch_up

A_PAGE_WAITS = 0.3
"""Seconds that a page works itself before it leaves the rest to the thread: enough for a few clients."""

_log = logging.getLogger("tracker.ui")
_one_at_a_time = threading.Lock()


def caught_up() -> int:
    """Work out what takes little time and begin the rest; returns how many clients are still to be worked out."""
    left = catch_up(open_store(), A_PAGE_WAITS)
    if left:
        threading.Thread(target=catch_up_now, name="who is due", daemon=True).start()
    return left


def catch_up_now() -> None:
    """Work out everything, unless another thread is at it; a failure goes to the log."""
    if not _one_at_a_time.acquire(blocking=False):
        return
    try:
        catch_up(open_store())
    except Exception:  # a thread of its own: nobody else would hear of it
        _log.exception("who is due was not worked out")
    finally:
        _one_at_a_time.release()
