"""What colourist and client agreed at a visit: how far the colour may go before it is refreshed."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from tracker.calibrate.level import DARKEST, LIGHTEST
from tracker.errors import InvalidEntry
from tracker.fade.posterior import WASHES_RANGE
from tracker.measure.reading import REGIONS, RIBBON

MOST_WARMER = 40.0
"""CIELAB units: hair lightened to the palest yellow lies about 30 above the neutral line."""

LONGEST_ROOT_MM = 300.0


@dataclass(frozen=True, slots=True)
class AgreedLimits:
    """Limits that the colour should not pass before the next visit; None where nothing was agreed.

    Attributes
    ----------
    warmer : float or None, warmth gained since right after the service, CIELAB units, > 0
    darkest, lightest : float or None, levels 1..10, on whatever scale is in force
    root_mm : float or None, length of regrown hair in millimetres, > 0
    region : str, one of `reading.REGIONS`, where warmth and level are judged
    hair : str, `reading.RIBBON` or `reading.WHOLE`, what had been read when they were agreed
    """

    warmer: float | None = None
    darkest: float | None = None
    lightest: float | None = None
    root_mm: float | None = None
    region: str = "end"
    hair: str = RIBBON

    @property
    def anything(self) -> bool:
        """True where at least one limit was agreed."""
        return any(getattr(self, each.name) is not None for each in fields(self) if each.name not in ("region", "hair"))

    @property
    def of_colour(self) -> bool:
        """True where at least one of them is about colour, which depends on how the hair was read."""
        return any(each is not None for each in (self.warmer, self.darkest, self.lightest))


NOTHING_AGREED = AgreedLimits()


def check_limits(limits: AgreedLimits, washes_per_week: float | None) -> None:
    """Check that the limits can be kept.

    Parameters
    ----------
    limits : AgreedLimits, as typed
    washes_per_week : float or None, >= 0, as the client says

    Raises
    ------
    InvalidEntry : a number is out of its range, or the darkest level is lighter than the lightest
    """
    if limits.region not in REGIONS:
        raise InvalidEntry("That is not a part of the hair.", f"Choose {', '.join(REGIONS)}.")
    _within("The warmth that was agreed", limits.warmer, 0.0, MOST_WARMER, "", above=True)
    _within("The darkest level", limits.darkest, DARKEST, LIGHTEST, "level")
    _within("The lightest level", limits.lightest, DARKEST, LIGHTEST, "level")
    _within("The length of the root", limits.root_mm, 0.0, LONGEST_ROOT_MM, "mm", above=True)
    _within("Washes a week", washes_per_week, *WASHES_RANGE, "a week")
    if limits.darkest is not None and limits.lightest is not None and limits.darkest >= limits.lightest:
        raise InvalidEntry(
            f"No darker than {limits.darkest:g} and no lighter than {limits.lightest:g} leaves no level between them.",
            "Choose a darker level first and a lighter one after it, or only one of the two.",
            value=limits.darkest,
            limit=limits.lightest,
            unit="level",
        )


def _within(what: str, value: float | None, low: float, high: float, unit: str, *, above: bool = False) -> None:
    if value is None or (math.isfinite(value) and low <= value <= high and (value > low or not above)):
        return
    allowed = f"{'more than ' if above else ''}{low:g} to {high:g}{unit and f' {unit}'}"
    raise InvalidEntry(
        f"{what} cannot be {value:g} (allowed: {allowed}).",
        "Correct it, or leave it out.",
        value=value if math.isfinite(value) else None,
        limit=high if value > high else low,
        unit=unit,
    )
