"""Whether the readings determine a rate, and if not, why not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.fade.posterior import Posterior, Priors, design, linear_part
from tracker.fade.series import FadeSeries

_SIGN = 0.975  # the fast part must have this much of its probability on one side of zero
_SUPPORT = 1.92  # half the 95 % point of chi-squared(1): a log likelihood this close is just as good (Wilks 1938)
_NARROWED = 0.7  # weak choice of our own: share of the prior spread of ln k that may be left
_MISFIT = 0.001  # weak choice of our own


NoRate = Literal[
    "one photo", "two photos", "does not fit", "no fast part", "over at once", "may be straight", "not narrowed"
]
"""Why there is no rate."""


@dataclass(frozen=True, slots=True)
class Interval:
    """Median and the ends of the 95 % interval, which is far from symmetric."""

    low: float
    median: float
    high: float


def judge_rate(series: FadeSeries, priors: Priors, found: Posterior) -> tuple[Interval | None, NoRate | None]:
    """The rate of the fast part, per month, or why there is none.

    Parameters
    ----------
    series : FadeSeries, readings of one quantity
    priors : Priors, of the same quantity
    found : the posterior of that series under those priors

    Returns
    -------
    (rate, None) or (None, refusal)
    """
    refusal: NoRate | None = (
        _too_few(series)
        or _does_not_fit(series, found)
        or _no_fast_part(found)
        or _unbounded(series, priors, found)
        or _not_narrowed(priors, found)
    )
    if refusal:
        return None, refusal
    low, median, high = (found.rate_quantile(p) for p in (0.025, 0.5, 0.975))
    return Interval(low, median, high), None


def _too_few(series: FadeSeries) -> NoRate | None:
    """Start, amplitude and rate are three unknowns; with fewer occasions the priors would decide."""
    if series.occasions < 2:
        return "one photo"
    return "two photos" if series.occasions < 3 else None


def _does_not_fit(series: FadeSeries, found: Posterior) -> NoRate | None:
    """Compare the residuals with the uncertainties, at the likeliest rate."""
    best = int(np.argmax(found.weights))
    rows = design(np.asarray(series.months), found.rates[best : best + 1])[0]
    precision = 1 / np.square(series.u)
    used = float(np.einsum("n,ni,ij,nj->", precision, rows, found.covariances[best], rows))
    left = len(series) - used - 1  # one more for the rate
    if left < 1:
        return None
    from scipy.special import chdtrc  # imported late: keeps `import tracker` light

    squares = float(precision @ (np.asarray(series.values) - rows @ found.coefficients[best]) ** 2)
    if float(chdtrc(left, squares)) >= _MISFIT:
        return None
    return "does not fit"


def _no_fast_part(found: Posterior) -> NoRate | None:
    from scipy.special import ndtr  # imported late: keeps `import tracker` light

    sd = np.sqrt(np.maximum(found.covariances[:, 1, 1], 1e-300))
    positive = float(found.weights @ ndtr(found.coefficients[:, 1] / sd))
    if max(positive, 1 - positive) >= _SIGN:
        return None
    return "no fast part"


def _unbounded(series: FadeSeries, priors: Priors, found: Posterior) -> NoRate | None:
    """Check whether no fast part, or one that is over at once, explains the readings as well as any rate."""
    months = np.asarray(series.months, dtype=np.float64)
    best = float(linear_part(series, priors, design(months, found.rates))[0].max())
    one, step = np.ones_like(months), (months > 0).astype(float)
    limits = np.stack([np.stack([one, fast, months], axis=-1) for fast in (0 * one, step)])
    straight, at_once = linear_part(series, priors, limits)[0]
    if at_once > best - _SUPPORT:
        return "over at once"
    if straight > best - _SUPPORT:
        return "may be straight"
    return None


def _not_narrowed(priors: Priors, found: Posterior) -> NoRate | None:
    logs = np.log(found.rates)
    left = math.sqrt(float(found.weights @ (logs - found.weights @ logs) ** 2))
    if left <= _NARROWED * priors.rate_spread:
        return None
    return "not narrowed"
