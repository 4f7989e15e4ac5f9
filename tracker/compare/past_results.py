"""The results of earlier visits: where the hair started, where it ended, and the middle of many such cases.

An outcome keeps Lab instead of a level, so that levels follow the scale in force. Nothing here says what to do next.

References
----------
[CON] Conover, Practical Nonparametric Statistics, 3rd ed., 1999, section 3.2: interval of a median from order
      statistics. From memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from tracker.calibrate.level import DEFAULT_SCALE, LevelScale, Lift, estimate_lift
from tracker.calibrate.warmth import DEFAULT_LOCUS, NeutralLocus, undertone, warmth_value
from tracker.compare.comparison import pair_colours
from tracker.compare.cut import at_like_distance, cut_of
from tracker.compare.photo_set import match_states, state_of
from tracker.maths.quantities import LabMeasured
from tracker.measure.reading import REGIONS, RIBBON, WHOLE, most_read
from tracker.measure.repeatability import PROVISIONAL, Repeatability
from tracker.record.records import AFTER, BEFORE, PhotoRecord, Visit

FEWEST = 3
"""Fewest cases that give a middle and a spread: a choice of our own, as are the two below."""

FEW = 6
"""Fewest cases that are not called few: below, no 95 % interval of the median exists."""

_SHOWN = 0.05  # levels: half of the last digit shown

_QUARTERS_FROM = 8  # fewest cases to show the middle half instead of lowest to highest

AT_LEAST, AT_MOST = "at least", "at most"


@dataclass(frozen=True, slots=True)
class Outcome:
    """One band of one visit.

    Attributes
    ----------
    region : str, one of `REGIONS`
    services : of the visit
    before, after : colours with their whole uncertainty, as single values
    before_pair, after_pair : the same colours with only the uncertainty that remains in their difference
    hair : str, `reading.RIBBON` or `reading.WHOLE`, how the hair was read before and after
    """

    visit_id: str
    region: str
    on: date
    services: tuple[str, ...]
    before: LabMeasured
    after: LabMeasured
    before_pair: LabMeasured
    after_pair: LabMeasured
    hair: str = RIBBON


@dataclass(frozen=True, slots=True)
class Case:
    """An outcome on the scale and the locus in force.

    Attributes
    ----------
    start : float, level before, held to 1..10
    lift : Lift
    warmth : float, final, CIELAB units
    """

    outcome: Outcome
    start: float
    lift: Lift
    warmth: float


@dataclass(frozen=True, slots=True)
class Middle:
    """The middle of several cases.

    Attributes
    ----------
    median : float
    bound : str, ``at least`` or ``at most`` where cases beyond the scale leave the median open on one side, else empty
    low, high : float, between which the median of such cases lies with probability `coverage`
    coverage : float, 0..1, at least 0.95 from `FEW` cases on
    spread_low, spread_high : float, see `quarters`
    quarters : bool, True where the spread holds the middle half of the cases, False where it holds all of them
    """

    median: float
    bound: str
    low: float
    high: float
    coverage: float
    spread_low: float
    spread_high: float
    quarters: bool


@dataclass(frozen=True, slots=True)
class PastResults:
    """Cases, newest first, and their middles; None below `FEWEST` cases, or where none can be given.

    Attributes
    ----------
    hair : str, `reading.RIBBON` or `reading.WHOLE`, how the hair of all cases was read: the way of most
    left_out : int, cases whose hair was read the other way
    """

    cases: tuple[Case, ...]
    lift: Middle | None
    warmth: Middle | None
    hair: str = WHOLE
    left_out: int = 0


def outcomes_of(
    visit: Visit, photos: Sequence[PhotoRecord], repeatability: Repeatability = PROVISIONAL
) -> tuple[Outcome, ...]:
    """The results of a visit, one for each band measured before and after; empty without a pair read in the same way.

    Where hair was cut, before is what lay where the bands lie after it.

    Parameters
    ----------
    visit : Visit
    photos : of the visit; those of one role are repeats, read together
    repeatability : Repeatability in force, how far photos of the same hair scatter
    """
    before, after = state_of(photos, BEFORE, repeatability), state_of(photos, AFTER, repeatability)
    if before is None or after is None or before.reading is None or after.reading is None:
        return ()
    hair = before.reading.hair
    if hair != after.reading.hair:
        return ()
    match = match_states(before, after)
    earlier = at_like_distance(before.reading, cut_of(before, after, visit))
    found = []
    for name in REGIONS:
        first, second = earlier.region(name), after.reading.region(name)
        pair = pair_colours(earlier, after.reading, name, same_kit=match.same, light=match.light)
        if first is not None and second is not None and pair is not None:
            found.append(Outcome(visit.id, name, visit.on, visit.services, first.lab, second.lab, *pair, hair))
    return tuple(found)


def summarise(
    outcomes: Sequence[Outcome],
    start_undertone: str | None = None,
    scale: LevelScale = DEFAULT_SCALE,
    locus: NeutralLocus = DEFAULT_LOCUS,
) -> PastResults:
    """Cases and their middles, of the way of reading the hair that most cases have.

    Parameters
    ----------
    outcomes : of one band
    start_undertone : str or None, keep only cases that started with this undertone
    scale, locus : in force
    """
    if start_undertone is not None:
        outcomes = [outcome for outcome in outcomes if undertone(outcome.before) == start_undertone]
    hair, told = most_read(outcome.hair for outcome in outcomes), len(outcomes)
    outcomes = [outcome for outcome in outcomes if outcome.hair == hair]
    outcomes = sorted(outcomes, key=lambda outcome: (outcome.on, outcome.visit_id), reverse=True)
    if not outcomes:
        return PastResults((), None, None)
    warmths = warmth_value(np.array([outcome.after.lab for outcome in outcomes]), locus)
    cases = tuple(_case(*pair, scale) for pair in zip(outcomes, warmths.tolist(), strict=True))
    lift = _lift_middle([case.lift for case in cases], outcomes)
    return PastResults(cases, lift, middle(warmths.tolist()), hair, told - len(outcomes))


def _case(outcome: Outcome, warmth: float, scale: LevelScale) -> Case:
    first, second = outcome.before_pair, outcome.after_pair
    lift = estimate_lift(first.lab[0], second.lab[0], first.u[0], second.u[0], scale, min(first.dof, second.dof))
    return Case(outcome, scale.level(first.lab[0]), lift, warmth)


def _lift_middle(lifts: Sequence[Lift], outcomes: Sequence[Outcome]) -> Middle | None:
    """The middle of lifts, some of which may be known only as a bound: their true value lies anywhere beyond it."""
    values: list[float] = []
    more: set[float] = set()
    less: set[float] = set()
    for lift, outcome in zip(lifts, outcomes, strict=True):
        if lift.value is not None:
            values.append(lift.value.value)
            continue
        lighter = outcome.after.lab[0] > outcome.before.lab[0]
        values.append(lift.at_least or 0.0 if lighter else -(lift.at_least or 0.0))
        (more if lighter else less).add(values[-1])
    found = middle(values)
    if found is None:
        return None
    highest = float(np.median([math.inf if value in more else value for value in values]))
    lowest = float(np.median([-math.inf if value in less else value for value in values]))
    upwards, downwards = highest - found.median > _SHOWN, found.median - lowest > _SHOWN
    if upwards and downwards:
        return None
    return replace(found, bound=AT_LEAST if upwards else AT_MOST if downwards else "")


def middle(values: Sequence[float]) -> Middle | None:
    """Median of `values` with its interval from order statistics [CON], and the spread; None below `FEWEST` values."""
    count = len(values)
    if count < FEWEST:
        return None
    ordered = sorted(values)
    rank, coverage = _rank(count)
    low, high = ordered[rank], ordered[count - 1 - rank]
    quarters = count >= _QUARTERS_FROM
    ends = np.quantile(ordered, (0.25, 0.75)) if quarters else (ordered[0], ordered[-1])
    return Middle(float(np.median(ordered)), "", low, high, coverage, float(ends[0]), float(ends[1]), quarters)


def _rank(count: int) -> tuple[int, float]:
    """How many values lie outside the interval on each side, and its coverage: 95 % or more where possible."""
    log_term = -count * math.log(2)  # of the binomial distribution at one half, which underflows for many values
    tail = math.exp(log_term)
    best = (0, 1 - 2 * tail)
    for rank in range(1, count // 2):
        log_term += math.log((count - rank + 1) / rank)
        tail += math.exp(log_term)
        if 1 - 2 * tail < 0.95:
            break
        best = (rank, 1 - 2 * tail)
    return best
