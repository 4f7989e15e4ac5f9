"""When the curve will pass a limit: an interval of months, never one day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.fade.model import FadeFit

_STEP = 0.05  # months, a day and a half
_WORTH_SAYING = 0.5


@dataclass(frozen=True, slots=True)
class Crossing:
    """Months since the service at which the curve is beyond a limit with 10, 50 and 90 % probability.

    This is a statement about the curve of this head under the model, as sure as readings and priors make it.
    It does not foresee sun, pool or another shampoo.

    Attributes
    ----------
    early, median : float or None, months; None where there is a refusal
    late : float or None, months; None where 90 % is not reached within the horizon
    probability : float, the largest probability of being beyond the limit within the horizon, 0..1
    refusal : str or None, a sentence that says why no months are given
    """

    early: float | None
    median: float | None
    late: float | None
    probability: float
    refusal: str | None = None


def forecast(
    fit: FadeFit, limit: float, direction: Literal["above", "below"], horizon_months: float = 24.0
) -> Crossing:
    """When the curve passes a limit.

    Parameters
    ----------
    fit : from `fit_fade`
    limit : float, unit of the quantity
    direction : which side of the limit is the far one
    horizon_months : float, > 0, months after the last reading to look ahead

    Returns
    -------
    Crossing : with a refusal after readings at one month only, where the service itself left the hair
        beyond the limit, and where being beyond it stays less likely than not

    Notes
    -----
    At each month the exact posterior probability that the curve lies beyond the limit; its running maximum
    gives the months. For curves that do not turn back this is the distribution of the time of passing; where
    some turn back it is a bound, and they may have passed earlier than stated.
    """
    if not horizon_months > 0:
        raise ValueError(f"the horizon must be > 0 months, got {horizon_months}")
    end = fit.series.months[-1] + horizon_months
    months = np.linspace(0.0, end, max(2, round(end / _STEP) + 1))
    above = fit.probability_above(months, limit)
    reached = np.maximum.accumulate(above if direction == "above" else 1 - above)
    highest = float(reached[-1])

    def refuse(why: str) -> Crossing:
        return Crossing(None, None, None, highest, why)

    if fit.series.occasions < 2:
        return refuse("No date can be given: one reading shows no movement.")
    if reached[0] >= _WORTH_SAYING:
        return refuse("No date can be given: it was beyond the limit right after the service.")
    if highest < _WORTH_SAYING:
        return refuse(
            f"No date can be given: the chance of passing the limit within {horizon_months:g} months "
            f"of the last reading is {100 * highest:.0f} %."
        )

    def first(probability: float) -> float | None:
        return float(np.interp(probability, reached, months)) if highest >= probability else None

    return Crossing(first(0.1), first(0.5), first(0.9), highest)
