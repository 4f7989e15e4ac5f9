"""How services wear and who is due, worked out once for each state of the record and kept."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from time import monotonic

from tracker import METHOD_VERSION
from tracker.errors import NotFound, TrackerError
from tracker.fade import FEWEST_SERVICES, Overlay, Priors, Worn, across, months_between, studio_prior
from tracker.level import DARKEST, LIGHTEST
from tracker.reading import REGIONS
from tracker.records import Visit, from_json, to_json
from tracker.regrowth import Regrowth
from tracker.store import ClientRecord, Store
from tracker.wear import (
    QUANTITIES,
    Due,
    Learnt,
    ServiceReadings,
    covers_root,
    day_of,
    due_of,
    growth,
    kind_of,
    limits_in_force,
    readings_of,
    segments,
    together,
    windows,
)
from tracker.yardsticks import Yardsticks

WEAR_VERSION = "1"
"""Raised whenever a window, or what is kept of a service's wear, can move."""

_AT_ONCE = 20
_SWITCH, _LEARNT = "learning", "learnt"
_GROWN = 0.1  # share by which the number of services must have changed before the studio's habits are learnt anew


@dataclass(frozen=True, slots=True)
class LearntPriors:
    """What the studio's own services of one kind say of one quantity in one band.

    Attributes
    ----------
    services : int, how many it rests on
    says : str, one sentence
    """

    kind: str
    region: str
    quantity: str
    priors: Priors
    services: int
    says: str


@dataclass(frozen=True, slots=True)
class Learning:
    """What was learnt from the studio's own services.

    Attributes
    ----------
    on : bool, True where it is used
    services : int, services with photos at two times or more when it was learnt
    found : for each kind of which there are enough
    stamp : str, of the yardsticks that it was learnt with
    """

    on: bool
    services: int = 0
    found: tuple[LearntPriors, ...] = ()
    stamp: str = ""

    @property
    def priors(self) -> Learnt:
        """As the model takes them; empty where it is switched off."""
        return {(each.kind, each.region, each.quantity): each.priors for each in self.found} if self.on else {}


def learning(store: Store) -> Learning:
    """What was learnt last, and whether it is used."""
    on = store.setting(_SWITCH) is not False
    kept = store.setting(_LEARNT)
    try:
        known = from_json(Learning, kept) if isinstance(kept, str) else Learning(on)
    except ValueError:
        known = Learning(on)
    return Learning(on, known.services, known.found, known.stamp)


def switch_learning(store: Store, *, on: bool) -> None:
    """Use what the studio's own services say, or only what is published."""
    store.put_setting(_SWITCH, None if on else False)


def learn(store: Store) -> Learning:
    """Learn anew where the record has grown by a tenth, or shrunk, or the yardsticks are others; else what is known.

    Everything must be worked out before: `catch_up` calls this when it is.
    """
    known, stamp = learning(store), _measured_stamp(store.yardsticks())
    # a service that is still worn is forecast with what is learnt, so it must not teach it
    services = [each for each in store.service_readings() if each.occasions > 1 and each.ended_on is not None]
    if known.stamp == stamp and abs(len(services) - known.services) <= _GROWN * known.services:
        return known
    if not services and not known.found:
        return known
    found = []
    for kind, of_kind in _by_kind(services).items():
        if len(of_kind) < FEWEST_SERVICES:
            continue
        for region in REGIONS:
            for quantity in QUANTITIES:
                says = studio_prior(worn(of_kind, region, quantity), quantity)
                if says.learnt:
                    found.append(LearntPriors(kind, region, quantity, says.priors, says.services, says.says))
    fresh = Learning(known.on, len(services), tuple(found), stamp)
    store.put_setting(_LEARNT, to_json(fresh))
    return fresh


def stamp_now(store: Store) -> str:
    """What windows are worked out with now: another stamp on a kept one says that it must be worked out anew."""
    known = learning(store)
    habits = _digest(to_json(known)) if known.on and known.found else "-"
    return f"{_measured_stamp(store.yardsticks())}|{habits}"


def catch_up(store: Store, seconds: float | None = None) -> int:
    """Work out what is missing or out of date.

    Parameters
    ----------
    seconds : float or None, stop after about so long; None to finish

    Returns
    -------
    int : how many clients are still to be worked out
    """
    until = None if seconds is None else monotonic() + seconds
    left = _work_through(store, until)
    if left == 0 and until is None:
        before = stamp_now(store)
        learn(store)
        if stamp_now(store) != before:
            left = _work_through(store, until)
    return left


def client_wear(store: Store, client_id: str) -> tuple[Due, list[ServiceReadings]]:
    """When one client is due and how the services wore, newest first; worked out now where it is not known.

    Raises
    ------
    NotFound
    """
    store.client(client_id)
    stamp = stamp_now(store)
    due, services = store.due(client_id, stamp), store.services_of(client_id, stamp)
    return work_out(store, client_id, stamp) if due is None or services is None else (due, services)


def work_out(store: Store, client_id: str, stamp: str) -> tuple[Due, list[ServiceReadings]]:
    """Work out one client's services and window, and keep both unless the record changed meanwhile."""
    record = store.record_of(client_id)
    due, services = _worked_out(record, store.yardsticks(), learning(store).priors)
    store.keep_wear(record, due, services, stamp)
    return due, services


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The window if the hair is washed more or less often from now on.

    Attributes
    ----------
    early, middle, late : dates, or None
    why_not : str or None, a sentence
    """

    early: date | None
    middle: date | None
    late: date | None
    why_not: str | None


def washed_otherwise(store: Store, client_id: str, washes_per_week: float, today: date) -> WhatIf:
    """What the refresh window of the service that is worn becomes with other washing from today on.

    Raises
    ------
    NotFound : no such client, or no service that is worn
    InvalidEntry : no number of washes that can be right
    """
    visits = store.visits(client_id)
    visit, limits = limits_in_force(visits)
    _, services = client_wear(store, client_id)
    readings = next((each for each in services if visit is not None and each.visit_id == visit.id), None)
    if readings is None:
        raise NotFound("There is no service whose wear is known.", "Take a photo right after the next one.")
    noon = datetime.combine(today, time(12)).astimezone()
    now = max(0.0, months_between(readings.begins, noon))
    own = store.yardsticks()
    root = client_growth(visit, services)
    found = together(
        windows(readings, limits, learning(store).priors, own.scale, root, washes_from_now=(washes_per_week, now))
    )
    early, middle, late = (day_of(readings.begins, each) for each in (found.early, found.middle, found.late))
    return WhatIf(early, middle, late, found.why_not)


def client_growth(worn: Visit | None, services: Sequence[ServiceReadings]) -> Regrowth:
    """How a client's root grows.

    Parameters
    ----------
    worn : the service that is worn
    services : all of the client, newest first
    """
    earlier = [each.root for each in reversed(services) if worn is None or each.visit_id != worn.id]
    now = next((each.root for each in services if worn is not None and each.visit_id == worn.id), None)
    return growth([*earlier, now], covered=worn is not None and covers_root(worn))


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
        return Due(record.client_id, worn_visit.id, worn_visit.on, state="unknown", why_not=error.message), []


def worn(
    services: Iterable[ServiceReadings],
    region: str,
    quantity: str,
    group: Callable[[ServiceReadings], str] = lambda _service: "",
) -> list[Worn]:
    """Services as the model lays them over one another; those without a reading of that band are left out.

    Parameters
    ----------
    group : what each is compared by
    """
    found = []
    for each in services:
        place = each.place(region)
        if place is not None and place.months:
            found.append(Worn(place.series(quantity), each.client_id, each.washes_per_week, group(each), each.visit_id))
    return found


def _work_through(store: Store, until: float | None) -> int:
    stamp = stamp_now(store)
    tried: set[str] = set()
    while True:
        waiting = [each for each in store.to_work_out(stamp, _AT_ONCE + len(tried)) if each not in tried]
        if not waiting:
            return store.count_to_work_out(stamp)
        for client_id in waiting:
            work_out(store, client_id, stamp)
            tried.add(client_id)
            if until is not None and monotonic() > until:
                return store.count_to_work_out(stamp)


def _by_kind(services: Iterable[ServiceReadings]) -> dict[str, list[ServiceReadings]]:
    found: dict[str, list[ServiceReadings]] = {}
    for each in services:
        found.setdefault(kind_of(each.services), []).append(each)
    return found


def _measured_stamp(own: Yardsticks) -> str:
    return f"{WEAR_VERSION}|{METHOD_VERSION}|{_digest(to_json(own))}"


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]


KIND, LEVEL, TONE = "service", "starting level", "tone"
GROUPINGS = (LEVEL, TONE, KIND)
"""What services can be compared by."""


def kinds_worn(services: Iterable[ServiceReadings]) -> dict[str, int]:
    """Kinds of services with how many of each were photographed again later, the most frequent first."""
    counted = {
        kind: sum(1 for each in of_kind if each.occasions > 1) for kind, of_kind in _by_kind(services).items() if kind
    }
    return dict(sorted(((kind, n) for kind, n in counted.items() if n), key=lambda item: (-item[1], item[0])))


def studio_wear(
    store: Store, services: Sequence[ServiceReadings], kind: str, region: str, quantity: str, grouping: str
) -> Overlay:
    """Services of one kind laid over one another, or all kinds where they are compared by kind.

    Parameters
    ----------
    services : of the studio
    grouping : str, one of `GROUPINGS`

    Raises
    ------
    TooFewReadings : no such service has photos at two times
    """
    own = store.yardsticks()
    chosen = services if grouping == KIND else [each for each in services if kind_of(each.services) == kind]
    groups = {KIND: lambda each: kind_of(each.services), LEVEL: _start_level(region, own), TONE: _start_tone(region)}
    return across(worn(chosen, region, quantity, groups[grouping]))


def _start_level(region: str, own: Yardsticks) -> Callable[[ServiceReadings], str]:
    """A level of one step, as it was right after the service."""

    def group(each: ServiceReadings) -> str:
        place = each.place(region)
        if place is None:
            return ""
        lightness = place.labs[0][0]
        if lightness < own.scale.lightness(DARKEST):
            return f"darker than level {DARKEST:g}"
        if lightness > own.scale.lightness(LIGHTEST):
            return f"lighter than level {LIGHTEST:g}"
        return f"level {round(own.scale.level(lightness)):d}"

    return group


def _start_tone(region: str) -> Callable[[ServiceReadings], str]:
    """Cool, neutral or warm right after the service: neutral where the 95 % interval holds none."""

    def group(each: ServiceReadings) -> str:
        place = each.place(region)
        if place is None:
            return ""
        warmth, reach = place.warmths[0], 1.96 * place.u_warmths[0]
        return "neutral" if abs(warmth) <= reach else "warm" if warmth > 0 else "cool"

    return group
