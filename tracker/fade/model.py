"""How one service wears on one head: fast at first, then slowly, and no more certain than the readings allow.

The curve is ``y(t) = y0 + A (1 - exp(-k t)) + B t``, t in months since the service. A single exponential does not fit
published wash curves; exponential plus straight line does (J. Cosmet. Sci. 72(3):278, 2021, table III). The same law is
published for the light fastness of dyeings (Ha 1964, Studies on the light fastness of dyeings II).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tracker.fade.mixture import mixture_quantile
from tracker.fade.posterior import DEFAULT_PRIORS, PRIORS_BY_UNIT, Posterior, Priors, posterior
from tracker.fade.rate import Interval, NoRate, judge_rate
from tracker.fade.series import FadeSeries
from tracker.maths.uncertainty import Array


@dataclass(frozen=True, slots=True, eq=False)
class FadeFit:
    """The curve as far as readings and priors determine it.

    Attributes
    ----------
    series, priors : what it was fitted to; the priors are those for this head's washing
    washes_per_week : float or None, as the client said
    posterior : what both together say about the curve
    rate : Interval or None, k per month, where the readings determine one
    refusal : why there is no rate, or None
    residual_rms : float, root mean square of readings minus curve, unit of the quantity
    """

    series: FadeSeries
    priors: Priors
    posterior: Posterior
    rate: Interval | None
    refusal: NoRate | None
    residual_rms: float
    washes_per_week: float | None = None

    @property
    def half_life(self) -> Interval | None:
        """Months until half of the fast part has happened; None without a rate."""
        rate = self.rate
        return rate and Interval(*(math.log(2) / each for each in (rate.high, rate.median, rate.low)))

    def mean(self, months: ArrayLike) -> Array:
        """Expected curve at `months`, any shape, >= 0, since the service; in the unit of the quantity."""
        t, mean, _ = self._components(months)
        return (mean @ self.posterior.weights).reshape(t.shape)

    def quantile(self, months: ArrayLike, probability: float) -> Array:
        """Value below which the curve lies with the given probability, of the shape of `months`.

        Parameters
        ----------
        months : any shape, >= 0, since the service
        probability : float, 0..1 exclusive
        """
        t, mean, sd = self._components(months)
        return mixture_quantile(self.posterior.weights, mean, sd, probability).reshape(t.shape)

    def band(self, months: ArrayLike, level: float = 0.95) -> tuple[Array, Array]:
        """Ends of the interval that holds the curve (not a further reading) with probability `level`.

        Parameters
        ----------
        months : any shape, >= 0, since the service
        level : float, 0..1 exclusive

        Returns
        -------
        (low, high) : arrays of the shape of `months`; equal tails, exact quantiles of the mixture over k
        """
        return self.quantile(months, (1 - level) / 2), self.quantile(months, (1 + level) / 2)

    def _components(self, months: ArrayLike) -> tuple[Array, Array, Array]:
        """`months` as an array, and mean and standard deviation of the curve per month and k, (T, K)."""
        t = np.asarray(months, dtype=np.float64)
        if not np.all(t >= 0):
            raise ValueError("the curve starts at the service: months must be >= 0")
        mean, sd = self.posterior.curve(t.ravel())
        return t, mean, sd


def fit_fade(series: FadeSeries, priors: Priors | None = None, washes_per_week: float | None = None) -> FadeFit:
    """Fit the wear of one service.

    Parameters
    ----------
    series : at least one reading; one alone gives the band of the priors through it
    priors : Priors, those of the unit by default, or from `studio_prior`
    washes_per_week : float or None, as the client said; the priors then count washes instead of months

    Returns
    -------
    FadeFit : without a `rate`, but with the reason, where the readings do not determine one

    Raises
    ------
    InvalidEntry : an impossible number of washes

    Notes
    -----
    y0 has a flat prior, so shifting all values only shifts the curve. The uncertainties of the readings are assumed
    known.
    """
    priors = (priors or PRIORS_BY_UNIT.get(series.unit, DEFAULT_PRIORS)).at_washes(washes_per_week)
    found = posterior(series, priors)
    mean, _ = found.curve(np.asarray(series.months, dtype=np.float64))
    residuals = np.asarray(series.values) - mean @ found.weights
    rate, refusal = judge_rate(series, priors, found)
    rms = float(np.sqrt(np.mean(residuals**2)))
    return FadeFit(series, priors, found, rate, refusal, rms, washes_per_week)
