"""What the studio's own past services teach of the next one, learnt anew as the record grows."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from tracker import METHOD_VERSION
from tracker.fade import FEWEST_SERVICES, Priors, studio_prior
from tracker.reading import REGIONS
from tracker.records import from_json, to_json
from tracker.store import Store
from tracker.wear import QUANTITIES, Learnt
from tracker.workflow.services_worn import by_kind, worn_by
from tracker.yardsticks import Yardsticks

WEAR_VERSION = "1"
"""Raised whenever a window, or what is kept of a service's wear, can move."""

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
    grown = len(services) - known.services
    if known.stamp == stamp and 0 <= grown <= _GROWN * known.services:
        return known
    if not services and not known.found:
        return known
    found = []
    for kind, of_kind in by_kind(services).items():
        if len(of_kind) < FEWEST_SERVICES:
            continue
        for region in REGIONS:
            for quantity in QUANTITIES:
                says = studio_prior(worn_by(of_kind, region, quantity), quantity)
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


def _measured_stamp(own: Yardsticks) -> str:
    return f"{WEAR_VERSION}|{METHOD_VERSION}|{_digest(to_json(own))}"


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]
