"""What the studio's own past services say about the next one, learnt again as the record grows."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from tracker import METHOD_VERSION
from tracker.calibrate.calibration import Yardsticks
from tracker.fade import FEWEST_SERVICES, Priors, studio_prior
from tracker.measure.reading import REGIONS, RIBBON, WHOLE
from tracker.record.records import from_json, to_json
from tracker.store import Store
from tracker.wear import QUANTITIES, Learnt, ServiceReadings
from tracker.workflow.services_worn import by_kind, worn_by

WEAR_VERSION = "3"
"""Raised whenever a window, or what is kept of a service's wear, may change."""

_SWITCH, _LEARNT = "learning", "learnt"
_GROWN = 0.1  # share by which the number of services must change before the studio's habits are learnt again


@dataclass(frozen=True, slots=True)
class LearntPriors:
    """What the studio's own services of one kind say about one quantity in one band.

    Attributes
    ----------
    services : int, how many it rests on
    hair : str, `reading.RIBBON` or `reading.WHOLE`, how the hair of all of them was read
    """

    kind: str
    region: str
    quantity: str
    priors: Priors
    services: int
    hair: str = RIBBON


@dataclass(frozen=True, slots=True)
class Learning:
    """What was learnt from the studio's own services.

    Attributes
    ----------
    on : bool, True where it is used
    taught : a digest of each service it was learnt from: those that are over and have photos at two times or more
    found : for each kind with enough of them
    stamp : str, of the yardsticks it was learnt with
    along_ribbon : int, how many of those services were read along a ribbon
    """

    on: bool
    taught: tuple[str, ...] = ()
    found: tuple[LearntPriors, ...] = ()
    stamp: str = ""
    along_ribbon: int = 0

    @property
    def services(self) -> int:
        """How many services it was learnt from."""
        return len(self.taught)

    @property
    def priors(self) -> Learnt:
        """As the model takes them; empty where it is switched off."""
        if not self.on:
            return {}
        return {(each.hair, each.kind, each.region, each.quantity): each.priors for each in self.found}


@dataclass(frozen=True, slots=True)
class Basis:
    """What windows are worked out with, read once: what is kept under its stamp rests on this and nothing else.

    Attributes
    ----------
    own : Yardsticks in force
    learning : Learning
    """

    own: Yardsticks
    learning: Learning

    @property
    def stamp(self) -> str:
        """A different stamp on a kept window means that it must be worked out again."""
        habits = "".join(to_json(each) for each in self.learning.found) if self.learning.on else ""
        return f"{_measured_stamp(self.own)}|{_digest(habits) if habits else '-'}"


def learning(store: Store) -> Learning:
    """What was learnt last, and whether it is used."""
    on = store.settings.get(_SWITCH) is not False
    kept = store.settings.get(_LEARNT)
    try:
        known = from_json(Learning, kept) if isinstance(kept, str) else Learning(on)
    except ValueError:
        known = Learning(on)
    return replace(known, on=on)


def switch_learning(store: Store, *, on: bool) -> None:
    """Use what the studio's own services say, or only what is published."""
    store.settings.put(_SWITCH, None if on else False)


def learn(store: Store, own: Yardsticks) -> Learning:
    """What is known, learnt again where it must be.

    That is when the services have grown by a tenth, one that it was learnt from is gone or reads differently, or the
    yardsticks have changed. Services whose hair was read along a ribbon and over the whole never teach together: each
    teaches the forecasts of those that were read in the same way.

    Parameters
    ----------
    own : Yardsticks that all the services were worked out with: `catch_up` calls this when they are
    """
    known, stamp = learning(store), _measured_stamp(own)
    # a service still being worn is forecast from what was learnt, so must not be learnt from
    services = [each for each in store.wear.services() if each.occasions > 1 and each.ended_on is not None]
    taught = tuple(_digest(to_json(each)) for each in services)
    grown = len(taught) - known.services
    if known.stamp == stamp and set(known.taught) <= set(taught) and grown <= _GROWN * known.services:
        return known
    if not taught and not known.taught:
        return known
    found = [each for hair in (RIBBON, WHOLE) for each in _learnt([one for one in services if one.hair == hair], hair)]
    along_ribbon = sum(1 for each in services if each.hair == RIBBON)
    fresh = Learning(known.on, taught, tuple(found), stamp, along_ribbon)
    store.settings.put(_LEARNT, to_json(fresh))
    return fresh


def _learnt(services: Sequence[ServiceReadings], hair: str) -> Iterator[LearntPriors]:
    """What services teach whose hair was read in one way."""
    for kind, of_kind in by_kind(services).items():
        if len(of_kind) < FEWEST_SERVICES:
            continue
        for region in REGIONS:
            for quantity in QUANTITIES:
                habits = studio_prior(worn_by(of_kind, region, quantity), quantity)
                if habits.learnt:
                    yield LearntPriors(kind, region, quantity, habits.priors, habits.services, hair)


def basis_now(store: Store) -> Basis:
    """What windows are worked out with now."""
    return Basis(store.yardsticks.in_force(), learning(store))


def stamp_now(store: Store) -> str:
    """The stamp of what windows are worked out with now."""
    return basis_now(store).stamp


def _measured_stamp(own: Yardsticks) -> str:
    return f"{WEAR_VERSION}|{METHOD_VERSION}|{_digest(to_json(own))}"


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]
