"""Measuring photos again beside the pages: one run at a time, which every window sees and can end.

The run is a thread of this program. Leaving the page, or closing the window, does not end it; ending the program does,
and then what was measured is kept and the rest waits.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass, field
from pathlib import Path

from tracker import METHOD_VERSION, workflow
from tracker.errors import TrackerError
from tracker.store import Store
from tracker.workflow.remeasuring import Tally

_log = logging.getLogger("tracker.ui")
_runs: dict[Path, Run] = {}
_starting = threading.Lock()


@dataclass
class Run:
    """One run, as far as it has got; only its thread changes `tally`, `problem` and `over`.

    Attributes
    ----------
    client_id : str or None, whose photos; None for those of all clients
    tally : Tally
    stop : Event, set to end it after the photo in hand
    problem : TrackerError or None, what ended it
    over : Event, set once its thread has ended
    """

    client_id: str | None
    tally: Tally
    stop: threading.Event = field(default_factory=threading.Event)
    problem: TrackerError | None = None
    over: threading.Event = field(default_factory=threading.Event)

    @property
    def going_on(self) -> bool:
        """True while photos are being measured."""
        return not self.over.is_set()


def begin(store: Store, client_id: str | None, by: str) -> Run:
    """Start to measure the waiting photos of one client, or of all; a run that is going on is given back instead."""
    with _starting:
        run = _runs.get(store.root)
        if run is not None and run.going_on:
            return run
        photo_ids = store.remeasuring.waiting(METHOD_VERSION, client_id)
        run = _runs[store.root] = Run(client_id, Tally(len(photo_ids)))
        threading.Thread(target=_measure, args=(store, run, photo_ids, by), name="measuring again", daemon=True).start()
    return run


def latest(store: Store) -> Run | None:
    """The run that is going on, or else the last one of this program; None where there was none."""
    return _runs.get(store.root)


def _measure(store: Store, run: Run, photo_ids: list[str], by: str) -> None:
    def note(tally: Tally) -> None:
        run.tally = tally

    try:
        workflow.measure_again(store, photo_ids, by=by, stop=run.stop.is_set, progress=note)
    except TrackerError as error:
        run.problem = error
    except Exception:  # in a thread of its own, a failure would otherwise go unheard
        _log.exception("photos were not measured again")
        run.problem = TrackerError("Measuring again has failed.", "What was measured is kept. Try the rest again.")
    finally:
        run.over.set()
