"""When each of many curves first passes a limit.

The posterior is represented by a few thousand curves at evenly spread points, always the same ones, so nothing is
random. A probability is a share of curves, good to about half a percent. A curve turns at most once, so the time when
it first passes is found exactly.

References
----------
Points: the additive recurrence on powers of the root of x^(d+1) = x + 1, a Kronecker sequence
(Niederreiter 1992, Random Number Generation and Quasi-Monte Carlo Methods, SIAM, ch. 3).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tracker.fade.posterior import Posterior
from tracker.maths.uncertainty import Array

CURVES = 4096
_DIMENSIONS = 5  # rate, three coefficients, and a spare one for the caller
_STEPS, _CLOSE = 60, 1e-10  # at most, and months


def curves_of(posterior: Posterior) -> tuple[Array, Array]:
    """Equally likely curves that represent the posterior.

    Parameters
    ----------
    posterior : Posterior, of one series

    Returns
    -------
    rates : (CURVES,) array, per month
    coefficients : (CURVES, 3) array, y0, A and B
    """
    points, normal = _points()
    cumulative = np.cumsum(posterior.weights)
    chosen = np.minimum(np.searchsorted(cumulative, points[:, 0] * cumulative[-1]), cumulative.size - 1)
    # scaled to correlations, so that units do not matter; a coefficient held fixed has no spread
    sd = np.sqrt(np.maximum(np.diagonal(posterior.covariances, axis1=1, axis2=2), 0.0))
    unit = np.where(sd > 0, sd, 1.0)
    correlation = posterior.covariances / (unit[:, :, None] * unit[:, None, :])
    eigenvalues, vectors = np.linalg.eigh(correlation)
    axes = unit[:, :, None] * vectors * np.sqrt(np.maximum(eigenvalues, 0.0))[:, None, :]
    coefficients = posterior.coefficients[chosen] + np.einsum("nij,nj->ni", axes[chosen], normal)
    return posterior.rates[chosen], coefficients


def spare_share() -> Array:
    """Evenly spread numbers 0..1, one per curve and independent of it, for one more unknown of the caller's."""
    return _points()[0][:, 4]


def first_passing(rates: Array, coefficients: Array, limit: float, *, above: bool, end: Array | float) -> Array:
    """Months at which each curve first lies beyond a limit.

    Parameters
    ----------
    rates : (N,)
    coefficients : (N, 3), y0, A and B
    limit : float, unit of the quantity
    above : bool, True where beyond means above
    end : months, how far to look, one number or one per curve

    Returns
    -------
    (N,) array : 0 where it starts beyond, infinite where it does not pass by `end`
    """
    sign = 1.0 if above else -1.0
    start = sign * (coefficients[:, 0] - limit)
    fast, slow = sign * coefficients[:, 1], sign * coefficients[:, 2]
    end = np.broadcast_to(np.asarray(end, dtype=np.float64), rates.shape)

    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        turn = np.log(-fast * rates / slow) / rates
    turn = np.where(np.isfinite(turn) & (turn > 0), np.minimum(turn, end), np.nan)
    # after its turn a curve that rose only falls; before its turn one that fell has not yet risen
    high = np.where(np.isfinite(turn) & (fast > 0), turn, end)
    low = np.where(np.isfinite(turn) & (fast < 0), turn, 0.0)
    passes = np.flatnonzero((start < 0) & (start - fast * np.expm1(-rates * high) + slow * high >= 0))
    found = np.where(start >= 0, 0.0, np.inf)
    # a rise that slows down is approached from its beginning, one that speeds up from its end: neither is overshot
    begin = np.where(fast > 0, low, high)
    found[passes] = _root(*(part[passes] for part in (begin, rates, start, fast, slow)))
    found[passes] = np.clip(found[passes], low[passes], high[passes])
    return found


def _root(months: Array, rates: Array, start: Array, fast: Array, slow: Array) -> Array:
    """Newton's method from months that lie on the bent side of each curve; only the curves not yet there go on."""
    months, going = months.copy(), np.arange(months.size)
    for _ in range(_STEPS):
        at, rate = months[going], rates[going]
        fallen = np.expm1(-rate * at)
        height = start[going] - fast[going] * fallen + slow[going] * at
        slope = fast[going] * rate * (1 + fallen) + slow[going]
        # where a curve only just touches the limit, it is level there
        step = np.divide(height, slope, out=np.zeros_like(at), where=slope > 0)
        months[going] = at - step
        going = going[np.abs(step) > _CLOSE]
        if not going.size:
            break
    return months


@lru_cache(maxsize=1)
def _points() -> tuple[Array, Array]:
    """Points in the unit cube, (CURVES, 5), and the normal scores of those for the coefficients, (CURVES, 3)."""
    from scipy.special import ndtri  # imported late: keeps `import tracker` light

    root = 1.0
    for _ in range(60):
        root = (1 + root) ** (1 / (_DIMENSIONS + 1))
    steps = root ** -np.arange(1.0, _DIMENSIONS + 1)
    points = (0.5 + np.outer(np.arange(1, CURVES + 1), steps)) % 1.0
    normal: Array = ndtri(points[:, 1:4])
    points.setflags(write=False)
    normal.setflags(write=False)
    return points, normal
