"""How services wear and who is due, worked out once for each state of the record and kept."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from datetime import date, datetime, time
from time import monotonic

from tracker.calibrate.calibration import Yardsticks
from tracker.errors import NotFound, StoreFull, TrackerError
from tracker.fade import months_between
from tracker.record.records import Visit
from tracker.store import ClientRecord, Store
from tracker.wear import (
    Due,
    Learnt,
    Reason,
    ServiceReadings,
    covers_root,
    due_of,
    growth,
    limits_in_force,
    readings_of,
    reason_of,
    segments,
    together,
    windows,
)
from tracker.wear.regrowth import Regrowth
from tracker.workflow.learning import Basis, basis_now, learn, learning

_AT_ONCE = 20


def catch_up(store: Store, seconds: float | None = None) -> int:
    """Work out what is missing or out of date.

    Parameters
    ----------
    seconds : float or None, stop after about this long; None to finish

    Returns
    -------
    int : how many clients are still to be worked out
    """
    until = None if seconds is None else monotonic() + seconds
    basis = basis_now(store)
    left = _work_through(store, basis, until)
    if left == 0 and until is None:
        learn(store, basis.own)
        after = basis_now(store)
        if after.stamp != basis.stamp:
            left = _work_through(store, after, until)
    return left


def client_wear(store: Store, client_id: str) -> tuple[Due, list[ServiceReadings]]:
    """When one client is due and how the services wore, newest first; worked out now if not yet known.

    Raises
    ------
    NotFound
    """
    store.clients.get(client_id)
    basis = basis_now(store)
    due, services = store.wear.due_of(client_id, basis.stamp), store.wear.services_of(client_id, basis.stamp)
    return work_out(store, client_id, basis) if due is None or services is None else (due, services)


def work_out(store: Store, client_id: str, basis: Basis) -> tuple[Due, list[ServiceReadings]]:
    """Work out one client's services and window, and keep both, unless the record changed or the disk is full."""
    record = store.wear.record_of(client_id)
    due, services = _worked_out(record, basis.own, basis.learning.priors)
    with suppress(StoreFull):
        store.wear.keep(record, due, services, basis.stamp)
    return due, services


def washed_otherwise(store: Store, client_id: str, washes_per_week: float, today: date) -> Reason:
    """What the refresh window of the service being worn becomes with other washing from today on.

    Raises
    ------
    NotFound : no such client, or no service being worn
    InvalidEntry : an impossible number of washes
    """
    visits = store.visits.of_client(client_id)
    visit, limits = limits_in_force(visits)
    _, services = client_wear(store, client_id)
    readings = next((each for each in services if visit is not None and each.visit_id == visit.id), None)
    if readings is None:
        raise NotFound("There is no service whose wear is known.", "Take a photo right after the next one.")
    noon = datetime.combine(today, time(12)).astimezone()
    now = max(0.0, months_between(readings.begins, noon))
    own = store.yardsticks.in_force()
    root = client_growth(visit, services)
    found = together(
        windows(readings, limits, learning(store).priors, own.scale, root, washes_from_now=(washes_per_week, now))
    )
    return reason_of(found, readings.begins)


def client_growth(worn: Visit | None, services: Sequence[ServiceReadings]) -> Regrowth:
    """How a client's root grows.

    Parameters
    ----------
    worn : the service being worn
    services : all the client's, newest first; earlier ones count if their hair was read in the same way
    """
    now = next((each for each in services if worn is not None and each.visit_id == worn.id), None)
    earlier = [each.root for each in reversed(services) if each is not now and (now is None or each.hair == now.hair)]
    return growth([*earlier, None if now is None else now.root], covered=worn is not None and covers_root(worn))


def _worked_out(record: ClientRecord, own: Yardsticks, learnt: Learnt) -> tuple[Due, list[ServiceReadings]]:
    try:
        found = segments(record.visits, record.photos, own.spread)
        services = [each for segment in found if (each := readings_of(segment, own.locus)) is not None]
        visit, _ = limits_in_force(record.visits)
        worn = next((segment for segment in found if visit is not None and segment.visit.id == visit.id), None)
        readings = next((each for each in services if visit is not None and each.visit_id == visit.id), None)
        root = client_growth(visit, services)
        return due_of(record.client_id, record.visits, worn, readings, own, learnt, root), services
    except TrackerError as error:  # one odd record must not keep the others from being worked out
        worn_visit, _ = limits_in_force(record.visits)
        if worn_visit is None:
            return Due(record.client_id), []
        return Due(record.client_id, worn_visit.id, state="unknown", why_not=error.message), []


def _work_through(store: Store, basis: Basis, until: float | None) -> int:
    stamp = basis.stamp
    tried: set[str] = set()
    left = None
    while True:
        waiting = [each for each in store.wear.to_work_out(stamp, _AT_ONCE + len(tried)) if each not in tried]
        before, left = left, store.wear.count_to_work_out(stamp)
        if not waiting or left == before:  # none of the last ones could be kept, as on a full disk
            return left
        for client_id in waiting:
            work_out(store, client_id, basis)
            tried.add(client_id)
            if until is not None and monotonic() > until:
                return store.wear.count_to_work_out(stamp)
