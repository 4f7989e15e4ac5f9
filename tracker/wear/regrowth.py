"""How long the root is, how fast it grows, and when it will be longer than agreed.

The root runs from the scalp to where the natural level ends, along the line from root to tip. It grows at a steady rate
from its length right after the service. The rate starts from published ones and moves to the client's own as photos
come in, each weighted by its uncertainty.

References
----------
- Loussouarn et al., tabled in a hair-science textbook (ch. 6, table 1): 280 ± 50, 367 ± 56 and 411 ± 53 µm a day in
  three groups of 511 people; another sample 256 ± 44 and 396 ± 55.
- Weights: Gelman et al. 2013, Bayesian Data Analysis, 3rd edition, 2.5 (normal mean with known variance).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tracker.compare.cut import PUBLISHED_RATE
from tracker.compare.transition import Blend, find_blend
from tracker.fade import HORIZON, FadeSeries, WhyNot, Window, judge, nothing_known
from tracker.fade.window import NoForecast
from tracker.maths.colorimetry import Floats
from tracker.maths.quantities import Measured
from tracker.measure.reading import ProfilePoint

_PLACED = 2.0  # mm, standard uncertainty of where that line leaves the scalp: a weak choice of our own
_COVERED = 1.0  # mm, the same for a root that was coloured up to the scalp
_UNLIKE = 3.0  # standard uncertainties from the published rate beyond which growth does not explain the photos
_STEP = 0.05  # months


@dataclass(frozen=True, slots=True)
class Regrowth:
    """The root of one head since its last service.

    Attributes
    ----------
    rate : Measured, mm a month
    start : Measured or None, mm right after the service; None where no photo since then shows it
    covariance : float, of rate and start, mm² a month
    last : float, months since the service of the last photo, 0 without one
    own : bool, True where the client's own photos count for more than the published rates
    why_not : why nothing can be forecast, or None
    """

    rate: Measured
    start: Measured | None
    covariance: float
    last: float
    own: bool
    why_not: NoForecast | None = None

    def length(self, months: Floats) -> tuple[Floats, Floats]:
        """Root length and its standard uncertainty, mm, of the shape of `months`.

        Parameters
        ----------
        months : any shape, since the service

        Raises
        ------
        ValueError : no photo since the service shows the root
        """
        if self.start is None:
            raise ValueError("no photo since the service shows the root")
        t = np.asarray(months, dtype=np.float64)
        variance = self.start.u**2 + 2 * t * self.covariance + (t * self.rate.u) ** 2
        return self.start.value + self.rate.value * t, np.sqrt(np.maximum(variance, 0.0))


def root_length(profile: Sequence[ProfilePoint], path: Measured | None) -> Measured | None:
    """Length of the root in one photo, mm; None where the photo does not show it beyond doubt, or how long it is.

    Parameters
    ----------
    profile : colours along the hair, the scalp first
    path : Measured, mm, length from root to tip by the card beside the hair; None where the card gives no scale

    Returns
    -------
    Measured : of a root darker or lighter than the lengths, whichever is significant
    """
    if path is None:
        return None
    found = find_blend(profile) or find_blend(profile, falls=True)
    return None if found is None else root_from_blend(found, path)


def root_from_blend(blend: Blend, path: Measured) -> Measured:
    """Length of the root where a blend was found, mm.

    Parameters
    ----------
    blend : Blend, found along the hair
    path : Measured, length from root to tip, mm
    """
    interval = blend.start_mm(path)
    value = float(interval.value)
    # the wider side counts for both: a soft root is placed more exactly towards the scalp
    u = float(max(value - interval.low, interval.high - value)) / 1.96
    return Measured(value, math.hypot(u, _PLACED), "mm")


def regrowth(segments: Sequence[FadeSeries], *, covered: bool = False) -> Regrowth:
    """How the root grows.

    Parameters
    ----------
    segments : root lengths in mm with their uncertainties, a series per service, the latest last. All of them show the
        rate, only the last shows the root now; earlier ones may start at any length
    covered : bool, True where the last service coloured the root up to the scalp, so that it starts at none

    Returns
    -------
    Regrowth
    """
    slope, precision = 0.0, 0.0
    for series in segments:
        t, y, p = _arrays(series, covered=covered and series is segments[-1])
        away = t - p @ t / p.sum()
        slope += float((p * away) @ y)
        precision += float((p * away) @ away)
    known = 1 / PUBLISHED_RATE.u**2
    value = (known * PUBLISHED_RATE.value + slope) / (known + precision)
    rate = Measured(value, 1 / math.sqrt(known + precision), PUBLISHED_RATE.unit)
    if _unlike(slope, precision):
        return Regrowth(PUBLISHED_RATE, None, 0.0, 0.0, False, "not grown")
    if not segments:
        return Regrowth(rate, None, 0.0, 0.0, False, "no root")
    t, y, p = _arrays(segments[-1], covered=covered)
    total, middle = float(p.sum()), float(p @ t / p.sum())
    start = float(p @ y / total) - rate.value * middle
    u = math.sqrt(1 / total + (middle * rate.u) ** 2)
    last = segments[-1].months[-1]
    found = Measured(start, u, "mm")
    return Regrowth(rate, found, -middle * rate.u**2, last, precision > known)


def forecast(found: Regrowth, limit_mm: float, name: str = "root") -> Window:
    """When the root grows longer than agreed, in months since the latest service.

    Parameters
    ----------
    found : Regrowth, from `regrowth`
    limit_mm : float, 0..1000
    name : str, of the limit
    """
    if not (0 <= limit_mm <= 1000):
        return nothing_known(WhyNot("impossible root", name))
    if found.start is None:
        return nothing_known(WhyNot(found.why_not or "no root", name))
    from scipy.special import ndtr  # imported late: keeps `import tracker` light

    end = found.last + HORIZON
    months = np.linspace(0.0, end, max(2, round(end / _STEP) + 1))
    mean, sd = found.length(months)
    chances = np.maximum.accumulate(ndtr((mean - limit_mm) / np.maximum(sd, 1e-9)))
    return judge(months, chances, found.last, name)


def _arrays(series: FadeSeries, *, covered: bool) -> tuple[Floats, Floats, Floats]:
    """Months, lengths and precisions of one service; a covered root counts as a reading of zero."""
    start = [(0.0, 0.0, _COVERED)] if covered else []
    rows = np.array([*start, *zip(series.months, series.values, series.u, strict=True)], dtype=np.float64)
    return rows[:, 0], rows[:, 1], 1 / rows[:, 2] ** 2


def _unlike(slope: float, precision: float) -> bool:
    if precision <= 0:
        return False
    away = slope / precision - PUBLISHED_RATE.value
    return abs(away) > _UNLIKE * math.sqrt(PUBLISHED_RATE.u**2 + 1 / precision)
