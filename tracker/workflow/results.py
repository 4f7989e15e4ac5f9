"""Past results: what came of starting points like this one in the studio's own history. Never a recommendation."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from time import monotonic

from tracker.calibrate.level import DARKEST, LIGHTEST
from tracker.compare.past_results import PastResults, summarise
from tracker.errors import InvalidEntry, StoreFull
from tracker.measure.reading import REGIONS
from tracker.store import Store

_AT_ONCE = 10  # visits in one go, while other windows wait


@dataclass(frozen=True, slots=True)
class Start:
    """What the cases have in common.

    Attributes
    ----------
    region : str, one of `reading.REGIONS`
    levels : lowest and highest level before, within 1..10; an end of the scale includes what lies beyond it
    undertone : str or None, before; None for any
    service : str, one the visit had; empty for any
    """

    region: str = "mid"
    levels: tuple[float, float] = (DARKEST, LIGHTEST)
    undertone: str | None = None
    service: str = ""


def past_results(store: Store, start: Start) -> PastResults:
    """Cases that began like this, with their middle and spread, by the scale and the locus in force.

    Raises
    ------
    InvalidEntry : no such region, or levels that are not a range
    """
    lowest, highest = start.levels
    if start.region not in REGIONS or not DARKEST <= lowest <= highest <= LIGHTEST:
        raise InvalidEntry("This is not a range of levels on a part of the hair.", "Choose both on the page again.")
    own = store.yardsticks.in_force()
    limits = (
        None if lowest <= DARKEST else own.scale.lightness(lowest),
        None if highest >= LIGHTEST else own.scale.lightness(highest),
    )
    return summarise(store.outcomes.find(start.region, limits, start.service), start.undertone, own.scale, own.locus)


def catch_up_results(store: Store, seconds: float | None = None) -> int:
    """Work out past results again where they rest on a spread other than the one in force.

    Parameters
    ----------
    seconds : float or None, stop after about this long; None to finish

    Returns
    -------
    int : how many visits are still to be worked out, and are left out of past results until then
    """
    until = None if seconds is None else monotonic() + seconds
    left = store.outcomes.count_stale()
    with suppress(StoreFull):  # a full disk must not hide the others
        while left and (until is None or monotonic() < until):
            left = store.outcomes.refresh_stale(_AT_ONCE)
    return left
