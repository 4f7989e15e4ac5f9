"""The posterior of the curve: the linear part exactly, the rate on a grid.

The curve is ``y(t) = y0 + A (1 - exp(-k t)) + B t``, t in months since the service. For a given k it is a linear
model with Gaussian priors, so y0, A and B are integrated exactly; k is a grid. No sampling.

References
----------
- Gelman et al. 2013, Bayesian Data Analysis, 3rd edition, 3.7 (grid) and 14.2 (linear model).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tracker.errors import InvalidEntry
from tracker.fade.series import FadeSeries
from tracker.maths.uncertainty import Array

_GRID = 97
_GRID_REACH = 3.5  # spreads on either side: leaves out less than 0.05 % of the prior
_NEGLIGIBLE = 16.0  # a log weight this far below the best means less than 1e-6 of it
_KEPT = 1e-9


@dataclass(frozen=True, slots=True)
class Priors:
    """What is expected before the first reading.

    Attributes
    ----------
    amplitude : float, >= 0, standard deviation of the fast part A around its mean, unit of the quantity
    slope : float, >= 0, standard deviation of the slow part B around its mean, unit per month
    rate_median : float, > 0, median of the rate k, per month
    rate_spread : float, > 0, standard deviation of ln k
    amplitude_mean, slope_mean : float, means of A and B; 0 unless learnt

    Notes
    -----
    The slow part and the rate hold for `USUAL_WASHES` a week; `at_washes` gives them for another number.
    """

    amplitude: float
    slope: float
    rate_median: float = 1.5
    rate_spread: float = 1.2
    amplitude_mean: float = 0.0
    slope_mean: float = 0.0

    def __post_init__(self) -> None:
        scales = (self.amplitude, self.slope, self.rate_median, self.rate_spread)
        finite = all(map(math.isfinite, (*scales, self.amplitude_mean, self.slope_mean)))
        if not (finite and min(self.amplitude, self.slope) >= 0 and min(self.rate_median, self.rate_spread) > 0):
            raise ValueError("priors need finite scales >= 0 and a rate and its spread > 0")

    def at_washes(self, washes_per_week: float | None) -> Priors:
        """The same wear per wash for hair washed `washes_per_week` times; unchanged where that is None."""
        pace = pace_of(washes_per_week)
        if pace == 1.0:
            return self
        return replace(
            self,
            slope=self.slope * pace,
            slope_mean=self.slope_mean * pace,
            rate_median=self.rate_median * pace,
        )


USUAL_WASHES = 3.0
"""Washes a week assumed where nobody said: common practice, no source."""

WASHES_RANGE = (0.25, 21.0)
"""Possible numbers of washes a week: once a month to three times a day."""


def pace_of(washes_per_week: float | None) -> float:
    """Usual months of washing in one month at this pace; 1 where nobody said.

    Parameters
    ----------
    washes_per_week : float or None, 0.25..21

    Raises
    ------
    InvalidEntry : an impossible number of washes

    Examples
    --------
    >>> pace_of(6.0)
    2.0
    """
    if washes_per_week is None:
        return 1.0
    low, high = WASHES_RANGE
    if not low <= washes_per_week <= high:
        raise InvalidEntry(
            f"{washes_per_week:g} washes a week cannot be right ({low:g} to {high:g}).",
            "Ask how often the hair is washed, or leave it empty.",
            value=washes_per_week if math.isfinite(washes_per_week) else None,
            limit=high if washes_per_week > high else low,
            unit="washes a week",
        )
    return washes_per_week / USUAL_WASHES


DEFAULT_PRIORS = Priors(6.0, 1.0)
"""For a CIELAB coordinate or warmth: a weak choice of our own.

Fast part: published colour differences after 12 washes are 5.6 to 6.7 (J. Cosmet. Sci. 72(3):278, 2021) and 7 to 16
after light (Locke & Jachowicz 2005); single coordinates move less. Slow part: our fit to that wash table gives 0.21 and
0.28 a wash, about 2.5 to 3.4 a month at three washes a week; real wear is taken to be slower. Rate: half of the fast
part in two weeks, 95 % between 1.3 days and 5 months; toners are usually refreshed after 4 to 6 weeks (common practice,
no source).
"""

PRIORS_BY_UNIT = {
    "level": Priors(1.0, 0.15),  # one level is taken as about 6 L*
    # the rates in that table are 10 to 12 a month at three washes a week, 1.3 of these spreads above the median, which
    # hold half of the fast part between 0.6 days and 11 months in 95 of 100 cases
    "dE": Priors(8.0, 2.5, rate_spread=1.6),
}
"""By unit, for quantities with another scale than `DEFAULT_PRIORS`."""


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """A mixture over the rate of normal distributions of y0, A and B.

    Attributes
    ----------
    rates, weights : (K,) arrays, grid of k per month, evenly spaced in ln k, and the weight of each; weights sum to 1
    coefficients : (K, 3) array, mean of y0, A and B at each k
    covariances : (K, 3, 3) array
    """

    rates: Array
    weights: Array
    coefficients: Array
    covariances: Array

    def curve(self, months: Array) -> tuple[Array, Array]:
        """Mean and standard deviation of the curve at `months`, (T,), for each k: two (T, K) arrays."""
        rows = design(months, self.rates)
        mean = np.einsum("kti,ki->tk", rows, self.coefficients)
        variance = np.sum((rows @ self.covariances) * rows, axis=-1).T
        return mean, np.sqrt(np.maximum(variance, 0.0))

    def rate_quantile(self, probability: float) -> float:
        """Rate, per month, below which the true one lies with `probability`, 0..1; the grid is even in ln k."""
        middles = np.cumsum(self.weights) - self.weights / 2
        return float(np.exp(np.interp(probability, middles, np.log(self.rates))))


def posterior(series: FadeSeries, priors: Priors) -> Posterior:
    """What readings and priors together say about the curve.

    Parameters
    ----------
    series : FadeSeries, readings of one quantity
    priors : Priors, of the same quantity
    """
    rates, log_weights = _grid(series, priors)
    weights = np.exp(log_weights - log_weights.max())
    kept = weights > _KEPT * weights.sum()
    rates, weights = rates[kept], weights[kept] / weights[kept].sum()
    _, coefficients, covariances = linear_part(series, priors, design(np.asarray(series.months), rates))
    return Posterior(rates, weights, coefficients, covariances)


def design(months: Array, rates: Array) -> Array:
    """Factors of y0, A and B in the curve, (K, T, 3).

    Parameters
    ----------
    months : (T,), since the service
    rates : (K,), per month
    """
    shape = (rates.size, months.size)
    fast = -np.expm1(-np.outer(rates, months))
    return np.stack([np.ones(shape), fast, np.broadcast_to(months, shape)], axis=-1)


def linear_part(series: FadeSeries, priors: Priors, rows: Array) -> tuple[Array, Array, Array]:
    """Integrate y0, A and B out of the model, for each of K design matrices.

    Parameters
    ----------
    series : FadeSeries, readings of one quantity
    priors : Priors, of the same quantity
    rows : (K, n, 3), from `design`

    Returns
    -------
    (log_evidence (K,), mean (K, 3), covariance (K, 3, 3))

    Notes
    -----
    With z = (y0, A / amplitude, B / slope), less their means, the prior is flat in the first and standard normal in the
    others. A scale of zero is then legal: it holds that part at its mean.
    """
    shift = np.array([0.0, priors.amplitude_mean, priors.slope_mean])
    scale = np.array([1.0, priors.amplitude, priors.slope])
    precision = 1 / np.square(series.u)
    values = np.asarray(series.values, dtype=np.float64) - rows @ shift
    # the weighted mean is subtracted only to limit rounding errors: y0 is flat
    centre = values @ precision / precision.sum()
    values = values - centre[:, None]
    scaled = rows * scale
    weighted = scaled * precision[:, None]
    information = np.swapaxes(scaled, 1, 2) @ weighted + np.diag([0.0, 1.0, 1.0])
    right = np.einsum("kni,kn->ki", weighted, values)
    covariance = np.linalg.inv(information)
    mean = np.einsum("kij,kj->ki", covariance, right)
    evidence = 0.5 * (np.einsum("ki,ki->k", right, mean) - np.linalg.slogdet(information)[1])
    evidence -= 0.5 * (values**2 @ precision)
    mean = mean * scale + shift
    mean[:, 0] += centre
    return evidence, mean, covariance * np.outer(scale, scale)


def _grid(series: FadeSeries, priors: Priors) -> tuple[Array, Array]:
    """Rates evenly spaced in ln k wherever the weight is not negligible, and their log weights (prior and evidence)."""
    months = np.asarray(series.months, dtype=np.float64)
    centre, reach = math.log(priors.rate_median), _GRID_REACH * priors.rate_spread
    low, high = centre - reach, centre + reach
    while True:
        log_rates = np.linspace(low, high, _GRID)
        evidence, _, _ = linear_part(series, priors, design(months, np.exp(log_rates)))
        standard = (log_rates - centre) / priors.rate_spread
        log_weights = evidence - 0.5 * standard**2 - math.log(priors.rate_spread * math.sqrt(2 * math.pi))
        counts = np.flatnonzero(log_weights > log_weights.max() - _NEGLIGIBLE)
        # a sharp posterior would fall between the points: zoom in until it spans a third of them
        if counts.size > _GRID // 3 or high - low < 1e-6:
            return np.exp(log_rates), log_weights
        first, last = max(counts[0] - 1, 0), min(counts[-1] + 1, _GRID - 1)
        # two sharp peaks far apart: zooming in on both together finds nothing new
        if last - first > 0.9 * (_GRID - 1):
            return np.exp(log_rates), log_weights
        low, high = log_rates[first], log_rates[last]
