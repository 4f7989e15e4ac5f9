"""95 % intervals by drawing whole heads again: bands and photos of one head go together, so they are no more evidence.

References
----------
[ET]  Efron, Tibshirani 1993, An introduction to the bootstrap, chapters 6 and 13: the bootstrap and its percentiles.
[FW]  Field, Welsh 2007, J R Stat Soc B 69:369-390: data in clusters, the clusters drawn whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tracker.maths.colorimetry import Floats

_DRAWS = 1000
_SEED = 20_261_130


@dataclass(frozen=True)
class Resampled:
    """Rows of figures in clusters, and how often each row is in each draw.

    Attributes
    ----------
    cluster : (n,) int, which cluster a row belongs to
    draws : int
    """

    cluster: np.ndarray
    draws: int = _DRAWS

    @cached_property
    def times(self) -> Floats:
        """How often each row is drawn, (draws, n)."""
        names, place = np.unique(self.cluster, return_inverse=True)
        rng = np.random.default_rng(_SEED)
        counts = rng.multinomial(len(names), np.full(len(names), 1 / len(names)), self.draws)
        return np.asarray(counts[:, place], float)

    def quantiles(self, values: Floats, share: float) -> Floats:
        """A quantile of the values (n,) in each draw, (draws,)."""
        order = np.argsort(values)
        upto = np.cumsum(self.times[:, order], axis=1)
        # the first value that has the share at or below it
        place = np.argmax(upto >= share * upto[:, -1:] - 1e-9, axis=1)
        return np.asarray(values[order][place])

    def means(self, values: Floats) -> Floats:
        """The mean of the values (n,) in each draw, (draws,)."""
        return np.asarray(self.times @ values / self.times.sum(axis=1))


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with its 95 % interval; None where there is nothing to tell it from."""

    value: float | None
    low: float | None = None
    high: float | None = None


def quantile(values: Floats, cluster: np.ndarray, share: float) -> Figure:
    """A quantile of all finite values (n,), with its interval over the clusters (n,)."""
    known = np.isfinite(values)
    if not known.any():
        return Figure(None)
    value = np.quantile(values[known], share, method="inverted_cdf")
    return _figure(float(value), Resampled(cluster[known]).quantiles(values[known], share))


def mean(values: Floats, cluster: np.ndarray) -> Figure:
    """The mean of all finite values (n,), with its interval over the clusters (n,)."""
    known = np.isfinite(values)
    if not known.any():
        return Figure(None)
    return _figure(float(values[known].mean()), Resampled(cluster[known]).means(values[known]))


def _figure(value: float, drawn: Floats) -> Figure:
    low, high = np.quantile(drawn, [0.025, 0.975])
    return Figure(value, float(low), float(high))
