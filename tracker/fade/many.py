"""Many services at once, in one pass, for studies of a whole studio."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tracker.fade.posterior import Priors, pace_of
from tracker.fade.series import FadeSeries
from tracker.maths.uncertainty import Array

_RATES = 41
_REACH = 3.5  # spreads on either side
_SUREST = 0.05  # no photo is more certain, and a smaller number would only cost digits


@dataclass(frozen=True, slots=True)
class Worn:
    """One past service on one head.

    Attributes
    ----------
    series : readings of one quantity in one region
    client : str; services of one client count together
    washes_per_week : float or None, as the client said
    group : str, to compare by, such as ``starts at level 9`` or ``cool``
    name : str, for people
    """

    series: FadeSeries
    client: str
    washes_per_week: float | None = None
    group: str = ""
    name: str = ""


class Service(Protocol):
    """A service, fitted or not."""

    @property
    def series(self) -> FadeSeries:
        """Its readings."""

    @property
    def washes_per_week(self) -> float | None:
        """As the client told."""


class Many:
    """What the readings of S services say about y0, A and B at each of K rates, before any priors.

    Attributes
    ----------
    rates : (K,) array, per month of usual washing
    log_rates : (K,) array
    """

    def __init__(self, services: Sequence[Service], priors: Priors) -> None:
        reach = _REACH * priors.rate_spread
        self.log_rates: Array = math.log(priors.rate_median) + np.linspace(-reach, reach, _RATES)
        self.rates: Array = np.exp(self.log_rates)
        months, values, precision = _padded(services)
        total = precision.sum(axis=1)
        # a curve may start anywhere, so only deviations from each service's own mean count
        self.means: Array = (precision * values).sum(axis=1) / total
        away = values - self.means[:, None]
        fast = -np.expm1(-self.rates[None, :, None] * months[:, None, :])
        slow = np.broadcast_to(months[:, None, :], fast.shape)
        p = precision[:, None, :]
        mean_fast, mean_slow = ((p * part).sum(axis=2) / total[:, None] for part in (fast, slow))
        fast, slow = fast - mean_fast[:, :, None], slow - mean_slow[:, :, None]
        self.mean_fast, self.mean_slow, self.total = mean_fast, mean_slow, total
        self._fast_fast = (p * fast * fast).sum(axis=2)
        self._fast_slow = (p * fast * slow).sum(axis=2)
        self._slow_slow = (p * slow * slow).sum(axis=2)
        self._fast_y = (p * fast * away[:, None, :]).sum(axis=2)
        self._slow_y = (p * slow * away[:, None, :]).sum(axis=2)

    def under(self, priors: Priors) -> Parts:
        """The same services under the given `priors`, y0 integrated out."""
        a, b = priors.amplitude**-2.0, priors.slope**-2.0
        aa, ab, bb = self._fast_fast + a, self._fast_slow, self._slow_slow + b
        ay = self._fast_y + a * priors.amplitude_mean
        by = self._slow_y + b * priors.slope_mean
        det = aa * bb - ab * ab
        mean_a, mean_b = (bb * ay - ab * by) / det, (aa * by - ab * ay) / det
        log = 0.5 * (ay * mean_a + by * mean_b) - 0.5 * np.log(det)
        log -= 0.5 * (((self.log_rates - math.log(priors.rate_median)) / priors.rate_spread) ** 2)[None]
        weights = np.exp(log - log.max(axis=1, keepdims=True))
        evidence = log.max(axis=1) + np.log(weights.sum(axis=1))
        # the scales of the priors, the same for every service
        evidence += 0.5 * (math.log(a) + math.log(b)) - math.log(priors.rate_spread)
        evidence -= 0.5 * (a * priors.amplitude_mean**2 + b * priors.slope_mean**2)
        weights /= weights.sum(axis=1, keepdims=True)
        return Parts(weights, mean_a, mean_b, bb / det, aa / det, -ab / det, evidence)

    def change(self, parts: Parts, months: Array) -> tuple[Array, Array]:
        """Change since the service: mean and standard deviation, two (S, T) arrays.

        Parameters
        ----------
        parts : Parts, from `under`
        months : (T,), since the service
        """
        fast = -np.expm1(-self.rates[:, None] * months[None, :])
        mean = parts.fast[:, :, None] * fast + parts.slow[:, :, None] * months
        variance = parts.var_fast[:, :, None] * fast**2 + parts.var_slow[:, :, None] * months**2
        variance += 2 * parts.cov[:, :, None] * fast * months
        weights = parts.weights[:, :, None]
        middle = (weights * mean).sum(axis=1)
        whole = (weights * (variance + (mean - middle[:, None, :]) ** 2)).sum(axis=1)
        return middle, np.sqrt(np.maximum(whole, 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """What readings and priors together say about each service at each rate; (S, K) arrays except the last.

    Attributes
    ----------
    weights : probability of each rate, rows sum to 1
    fast, slow : means of A and B
    var_fast, var_slow, cov : their variances and covariance
    evidence : (S,), log of the probability of the readings, up to a constant that depends only on the readings
    """

    weights: Array
    fast: Array
    slow: Array
    var_fast: Array
    var_slow: Array
    cov: Array
    evidence: Array


def _padded(services: Sequence[Service]) -> tuple[Array, Array, Array]:
    """Months of usual washing, values and precisions, (S, n) arrays; precision is 0 where there is no reading."""
    longest = max(len(each.series) for each in services)
    months, values, precision = np.zeros((3, len(services), longest))
    for row, each in enumerate(services):
        n = len(each.series)
        months[row, :n] = np.asarray(each.series.months) * pace_of(each.washes_per_week)
        values[row, :n] = each.series.values
        precision[row, :n] = 1 / np.maximum(each.series.u, _SUREST) ** 2
    return months, values, precision
