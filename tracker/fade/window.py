"""When a limit agreed with the client will be passed: a window of months, never one day, or the reason for none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tracker.errors import InvalidEntry
from tracker.fade.crossing import curves_of, first_passing, spare_share
from tracker.fade.model import FadeFit
from tracker.fade.posterior import pace_of
from tracker.maths.uncertainty import Array

Side = Literal["above", "below"]
State = Literal["given", "passed", "not soon", "unknown"]
NoDate = Literal[
    "passed at once", "too close", "passed", "not soon", "not sure", "impossible", "washes unknown", "no limit"
]
NoForecast = Literal["no service", "nothing agreed", "no start", "no root", "not grown", "impossible root"]
"""Reasons that `wear` gives."""

HORIZON = 12.0
"""Months after the last photo to look ahead: nobody plans a visit later, and no wear was ever observed there."""

# the range of surface colours; the levels of the trade's scale and a little beyond either end
_POSSIBLE = {
    "L*": (0.0, 100.0),
    "a*": (-130.0, 130.0),
    "b*": (-130.0, 130.0),
    "warmth": (-130.0, 130.0),
    "dE": (0.0, 200.0),
    "level": (0.0, 12.0),
}
_STEP = 0.05  # months, a day and a half
_EARLY, _MIDDLE, _LATE = 0.1, 0.5, 0.9
# Locke & Jachowicz 2005, J Cosmet Sci 56:407: four shampoos alone 3.6, with 32 h of lamp between them 10.7; a client
# who sees little sun has nearly all of the wear from washing
_WASHED_SHARE = (1 / 3, 1.0)


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit that the client and the colourist agreed.

    Attributes
    ----------
    value : float, unit of the quantity
    side : str, ``above`` where the colour may be no more than `value`, ``below`` where no less
    name : str, such as ``warmth``
    from_start : bool, True where `value` counts from the colour right after the service
    """

    value: float
    side: Side
    name: str = ""
    from_start: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and abs(self.value) <= 1000):
            raise InvalidEntry(
                f"The limit for {self.name or 'the colour'} is not a number that hair can have.", "Enter it again."
            )
        if self.side not in ("above", "below"):
            raise ValueError(f"a limit is passed above or below, not {self.side!r}")


@dataclass(frozen=True, slots=True)
class WhyNot:
    """Why no date is given.

    Attributes
    ----------
    name : str, of the limit
    numbers : months looked ahead, and in how many of 100 cases it is passed by then; where the limit is ``impossible``,
        that limit, the lowest and the highest possible one
    """

    code: NoDate | NoForecast
    name: str = ""
    numbers: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Window:
    """When a limit will be passed, as far as anyone can tell.

    A statement about this head under the model, as certain as photos and assumptions make it; it does not foresee a
    summer at the pool.

    Attributes
    ----------
    name : str, of the limit
    early, middle, late : float or None, months since the service by which it is passed in 10, 50 and 90 of 100
        cases; None where no date can be given, and where it was passed from the start
    why_not : WhyNot or None, why no date is given
    state : str, ``given``, ``passed`` (before the last photo), ``not soon`` or ``unknown``
    chance : float, of being passed within the horizon, 0..1
    passed : float, chance of having been passed by the last photo, 0..1
    not_before : float or None, months before which it is passed in fewer than 10 of 100 cases
    last : float, months since the service of the last photo
    horizon : float, months since the service up to which it was looked for
    months, chances : chance of being passed by each month; empty where nothing is known
    first : for a window of several limits, the chance of each being passed first, by name
    """

    name: str
    early: float | None
    middle: float | None
    late: float | None
    why_not: WhyNot | None
    state: State
    chance: float
    passed: float
    not_before: float | None
    last: float
    horizon: float
    months: tuple[float, ...] = ()
    chances: tuple[float, ...] = ()
    first: tuple[tuple[str, float], ...] = ()

    @property
    def given(self) -> bool:
        """True where there is a window to come."""
        return self.state == "given"


def window(fit: FadeFit, limit: Limit, *, washes_per_week: float | None = None, now: float | None = None) -> Window:
    """When the curve first passes a limit, also if the hair is washed more or less often from now on.

    Parameters
    ----------
    fit : FadeFit, from `fit_fade`
    limit : Limit, in the unit of the fit
    washes_per_week : float or None, from now on; None for as often as so far
    now : float or None, months since the service; None for the last photo

    Returns
    -------
    Window : a curve that passes and comes back counts when it first passes. A window is given only where the limit is
        passed within the horizon in 90 of 100 cases; otherwise `not_before` and the reason. With other washing it is
        wider, because washing is assumed to cause between a third and all of the wear, every share equally likely;
        ``unknown`` where nobody said how often the hair is washed today

    Raises
    ------
    InvalidEntry : an impossible number of washes
    """
    pace_of(washes_per_week)
    if now is not None and not now >= 0:
        raise InvalidEntry("Today lies before the service.", "Check the date of the service.")
    impossible = _impossible(limit, fit.series.unit)
    if impossible:
        return nothing_known(impossible)
    last = fit.series.months[-1]
    end = last + HORIZON
    if washes_per_week is not None and fit.washes_per_week is None:
        return nothing_known(WhyNot("washes unknown", limit.name))
    rates, coefficients = curves_of(fit.posterior)
    if limit.from_start:
        coefficients[:, 0] = 0.0
    above = limit.side == "above"
    if washes_per_week is None or fit.washes_per_week is None:
        passing = first_passing(rates, coefficients, limit.value, above=above, end=end)
    else:
        at = last if now is None else now
        low, high = _WASHED_SHARE
        share = low + (high - low) * spare_share()
        speed = 1 - share + share * washes_per_week / fit.washes_per_week
        worn = first_passing(rates, coefficients, limit.value, above=above, end=at + (end - at) * speed)
        passing = np.where(worn <= at, worn, at + (worn - at) / np.maximum(speed, 1e-9))
    months = np.linspace(0.0, end, max(2, round(end / _STEP) + 1))
    chances = np.searchsorted(np.sort(passing), months, side="right") / passing.size
    return judge(months, chances, last, limit.name)


def _impossible(limit: Limit, unit: str) -> WhyNot | None:
    """Why no hair can reach that limit."""
    low, high = _POSSIBLE.get(unit, (-1000.0, 1000.0))
    if limit.from_start:
        low, high = low - high, high - low
    if low <= limit.value <= high:
        return None
    return WhyNot("impossible", limit.name, (limit.value, low, high))


def judge(months: Array, chances: Array, last: float, name: str = "") -> Window:
    """The window of a distribution of the time of first passing, or the reason for none.

    Parameters
    ----------
    months : (T,), rising from the service to the horizon
    chances : (T,), never falling, 0..1, of having passed by then
    last : float, months since the service of the last photo
    name : str, of the limit
    """
    end, chance = float(months[-1]), float(chances[-1])
    passed = float(np.interp(last, months, chances))

    def reached(probability: float) -> float | None:
        at = int(np.searchsorted(chances, probability))
        if at == chances.size:
            return None
        if at == 0:
            return float(months[0])
        return float(np.interp(probability, chances[at - 1 : at + 1], months[at - 1 : at + 1]))

    def answer(state: State, code: NoDate | None, *, dated: bool = False) -> Window:
        why = None if code is None else WhyNot(code, name, (end - last, 100 * chance))
        early, middle, late = (reached(p) if dated else None for p in (_EARLY, _MIDDLE, _LATE))
        kept = tuple(months.tolist()), tuple(chances.tolist())
        return Window(name, early, middle, late, why, state, chance, passed, reached(_EARLY), last, end, *kept)

    if chances[0] >= _LATE:
        return answer("passed", "passed at once")
    if chances[0] >= _EARLY:
        return answer("unknown", "too close")
    if passed >= _LATE:
        return answer("passed", "passed", dated=True)
    if chance >= _LATE:
        return answer("given", None, dated=True)
    return answer("not soon", "not soon") if chance < _EARLY else answer("unknown", "not sure")


def nothing_known(why: WhyNot) -> Window:
    """A window with nothing in it but the reason `why`."""
    return Window(why.name, None, None, None, why, "unknown", 0.0, 0.0, None, 0.0, 0.0)


def refresh_window(windows: Sequence[tuple[str, Window]]) -> Window:
    """One window for the next visit: when the first of several limits is passed.

    Parameters
    ----------
    windows : name and window of each agreed limit, months since the same service

    Returns
    -------
    Window : assumes that, given the photos, the limits are passed independently of each other. Limits about which
        nothing is known are left out; with none left the result is ``unknown``
    """
    known = [(name, each) for name, each in windows if each.months]
    if not known:
        return nothing_known(next((each.why_not for _, each in windows if each.why_not), WhyNot("no limit")))
    if len(known) == 1:
        return replace(known[0][1], first=((known[0][0], 1.0),))
    end = min(each.horizon for _, each in known)
    months = np.linspace(0.0, end, max(2, round(end / _STEP) + 1))
    left = 1 - np.stack([np.interp(months, each.months, each.chances) for _, each in known])
    found = judge(months, 1 - np.prod(left, axis=0), min(max(each.last for _, each in known), end))
    return replace(found, first=_first(tuple(name for name, _ in known), left))


def _first(names: tuple[str, ...], left: Array) -> tuple[tuple[str, float], ...]:
    """The probability that each limit is passed first, given that one is; the likeliest first."""
    passing = -np.diff(left, axis=1, prepend=1.0)
    others = np.stack([np.prod(np.delete(left, i, axis=0), axis=0) for i in range(len(names))])
    shares = np.sum(passing * others, axis=1)
    total = float(shares.sum())
    if total <= 0:
        return ()
    return tuple((names[i], float(shares[i] / total)) for i in np.argsort(-shares))
