"""Plain least-squares fits of three shapes, to compare them and to check against certified values.

References
----------
- Golub & Pereyra 1973, The differentiation of pseudo-inverses and nonlinear least squares problems whose
  variables separate, SIAM J. Numer. Anal. 10(2):413-432.
- Burnham & Anderson 2002, Model Selection and Multimodel Inference, 2nd edition, 2.4 (AICc).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.fade.posterior import DEFAULT_PRIORS, PRIORS_BY_UNIT, Priors, log_evidence
from tracker.fade.series import U_RANGE, FadeSeries
from tracker.quantities import Measured

Array = NDArray[np.float64]
Shape = Literal["straight line", "exponential", "fast plus slow"]


@dataclass(frozen=True, slots=True, eq=False)
class LeastSquares:
    """A fitted curve ``start + amplitude (1 - exp(-rate t)) + slope t``.

    Attributes
    ----------
    names : names of what was fitted, out of ``start``, ``amplitude``, ``slope``, ``rate``
    values : (p,) array, in that order
    cov : (p, p) array, their covariance; not a number where no reading is left over to judge by
    rss : float, weighted sum of squared residuals
    rms : float, root mean square of the residuals, not weighted
    dof : int, readings less parameters
    fixed_start : float, value at month 0 where it was not fitted
    """

    names: tuple[str, ...]
    values: Array
    cov: Array
    rss: float
    rms: float
    dof: int
    fixed_start: float = 0.0

    @property
    def u(self) -> Array:
        """Standard errors, (p,)."""
        errors: Array = np.sqrt(np.diag(self.cov))
        return errors

    def at(self, month: float) -> Measured:
        """Value of the curve at one month."""
        t = np.array([month])
        value = _curve(self.names, self.values, self.fixed_start, t)[0]
        gradient = _jacobian(self.names, self.values, t)[0]
        return Measured(float(value), math.sqrt(float(gradient @ self.cov @ gradient)), "", float(self.dof))


@dataclass(frozen=True, slots=True)
class Comparison:
    """How one shape does on one series.

    Attributes
    ----------
    rms : float, root mean square residual of the least-squares fit, unit of the quantity
    aicc : float, AICc with the readings' own uncertainties; infinite with too few readings for it
    log_evidence : float, log probability of the readings under the priors; only differences mean something
    """

    rms: float
    aicc: float
    log_evidence: float


def compare_models(
    series: FadeSeries, priors: Priors | None = None, start: float | None = None
) -> dict[Shape, Comparison]:
    """Compare a straight line, one exponential, and exponential plus straight line.

    Parameters
    ----------
    priors : by default those of the unit
    start : value at month 0 where it is known, such as 0 for a colour difference to month 0

    Returns
    -------
    dict : a `Comparison` by shape
    """
    priors = priors or PRIORS_BY_UNIT.get(series.unit, DEFAULT_PRIORS)
    scales = {
        "straight line": replace(priors, amplitude=0.0),
        "exponential": replace(priors, slope=0.0),
        "fast plus slow": priors,
    }
    anchored = series if start is None else _with_start(series, start)
    result: dict[Shape, Comparison] = {}
    for shape in get_args(Shape):
        fit = least_squares(shape, series.months, series.values, series.u, start)
        p, left = len(fit.names), len(series) - len(fit.names) - 1
        aicc = fit.rss + 2 * p + 2 * p * (p + 1) / left if left > 0 else math.inf
        result[shape] = Comparison(fit.rms, aicc, log_evidence(anchored, scales[shape]))
    return result


def least_squares(
    shape: Shape, months: ArrayLike, values: ArrayLike, u: ArrayLike | None = None, start: float | None = None
) -> LeastSquares:
    """Fit one shape.

    Parameters
    ----------
    shape : which parts the curve has
    months, values : (n,), n >= 1
    u : (n,), standard uncertainties; None weights all alike and takes the scatter from the residuals
    start : value at month 0 where it is known; None fits it

    Notes
    -----
    The rate is searched on a grid with the linear part solved (Golub & Pereyra 1973), then polished by
    Gauss-Newton steps. A rate that the readings do not bound ends at an end of the grid.
    """
    t, y = np.asarray(months, dtype=np.float64), np.asarray(values, dtype=np.float64)
    weight = np.ones_like(y) if u is None else 1 / np.asarray(u, dtype=np.float64)
    names = (("start",) if start is None else ()) + {
        "straight line": ("slope",),
        "exponential": ("amplitude", "rate"),
        "fast plus slow": ("amplitude", "slope", "rate"),
    }[shape]
    fixed = start or 0.0
    parameters = _search(names, t, y - fixed, weight) if "rate" in names else _linear(names, t, y - fixed, weight, 1.0)
    residuals = y - _curve(names, parameters, fixed, t)
    rss, dof = float(np.sum((residuals * weight) ** 2)), y.size - len(names)
    information = _jacobian(names, parameters, t) * weight[:, None]
    scatter = 1.0 if u is not None else (rss / dof if dof > 0 else math.nan)
    cov = np.asarray(np.linalg.pinv(information.T @ information, hermitian=True) * scatter, dtype=np.float64)
    return LeastSquares(names, parameters, cov, rss, float(np.sqrt(np.mean(residuals**2))), dof, fixed)


def _search(names: tuple[str, ...], t: Array, y: Array, weight: Array) -> Array:
    """Best parameters: every rate of a grid, then Gauss-Newton steps as long as they help."""
    longest = max(float(t.max()), 1e-9)
    fits = [_linear(names, t, y, weight, rate) for rate in np.geomspace(1e-4, 1e3, 400) / longest]

    def rss(parameters: Array) -> float:
        return float(np.sum(((y - _curve(names, parameters, 0.0, t)) * weight) ** 2))

    best = min(fits, key=rss)
    for _ in range(50):
        residuals = (y - _curve(names, best, 0.0, t)) * weight
        step = np.linalg.lstsq(_jacobian(names, best, t) * weight[:, None], residuals, rcond=None)[0]
        # the rate may not turn negative
        while best[-1] + step[-1] <= 0 or rss(best + step) > rss(best):
            step = step / 2
            if np.all(np.abs(step) <= 1e-15 * np.abs(best)):
                return best
        best = best + step
    return best


def _linear(names: tuple[str, ...], t: Array, y: Array, weight: Array, rate: float) -> Array:
    """Best linear parameters for one rate, with the rate appended where the shape has one."""
    columns = {"start": np.ones_like(t), "amplitude": -np.expm1(-rate * t), "slope": t}
    linear = [name for name in names if name != "rate"]
    rows = np.column_stack([columns[name] for name in linear]) * weight[:, None]
    solution = np.asarray(np.linalg.lstsq(rows, y * weight, rcond=None)[0], dtype=np.float64)
    return np.append(solution, rate) if "rate" in names else solution


def _curve(names: tuple[str, ...], parameters: Array, fixed: float, t: Array) -> Array:
    p = dict(zip(names, parameters.tolist(), strict=True))
    fast: Array = -np.expm1(-p.get("rate", 1.0) * t)
    curve: Array = p.get("start", fixed) + p.get("amplitude", 0.0) * fast + p.get("slope", 0.0) * t
    return curve


def _jacobian(names: tuple[str, ...], parameters: Array, t: Array) -> Array:
    p = dict(zip(names, parameters.tolist(), strict=True))
    rate = p.get("rate", 1.0)
    columns = {
        "start": np.ones_like(t),
        "amplitude": -np.expm1(-rate * t),
        "slope": t,
        "rate": p.get("amplitude", 0.0) * t * np.exp(-rate * t),
    }
    return np.column_stack([columns[name] for name in names])


def _with_start(series: FadeSeries, start: float) -> FadeSeries:
    """The series with a reading at month 0 that is as good as certain."""
    return replace(
        series,
        months=(0.0, *series.months),
        values=(start, *series.values),
        u=(max(U_RANGE[0], 1e-3 * min(series.u)), *series.u),
    )
