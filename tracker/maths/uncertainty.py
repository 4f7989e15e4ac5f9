"""Uncertainty by the GUM, tests of a difference, and how both are written.

References
----------
- JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM).
- JCGM 101:2008, Supplement 1: propagation of distributions using a Monte Carlo method.
- JCGM 102:2011, Supplement 2: extension to any number of output quantities.
- Hotelling 1931, The generalization of Student's ratio, Ann. Math. Statist. 2(3):360-378.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.maths.quantities import Measured

Array = NDArray[np.float64]

# far above the rounding error of a small correlation matrix, far below any real correlation
_RELATIVE_RANK = 1e-10


def combined_u(sensitivities: ArrayLike, cov: ArrayLike) -> float:
    """Combined standard uncertainty of a quantity that depends on correlated inputs.

    Parameters
    ----------
    sensitivities : (n,), partial derivative of the quantity by each input
    cov : (n, n), covariance of the inputs

    Returns
    -------
    float : ``sqrt(c' cov c)``, in the unit of the quantity (GUM 5.2.2, equation 13)

    Raises
    ------
    ValueError : shapes that do not match, or a `cov` that is not a covariance

    Examples
    --------
    >>> combined_u([1.0, -1.0], [[9.0, 0.0], [0.0, 16.0]])
    5.0
    """
    c = np.atleast_1d(np.asarray(sensitivities, dtype=np.float64))
    covariance = _covariance(cov, c.size)
    return math.sqrt(max(float(c @ covariance @ c), 0.0))


def effective_dof(u: ArrayLike, dof: ArrayLike) -> float:
    """Degrees of freedom of a sum of independent contributions, by Welch and Satterthwaite.

    Parameters
    ----------
    u : (n,), contributions in the unit of the result (sensitivity times standard uncertainty), >= 0
    dof : (n,), degrees of freedom of each, > 0; infinite is allowed

    Returns
    -------
    float : ``u_c**4 / sum(u_i**4 / dof_i)`` (GUM G.4.1, equation G.2b); infinite where nothing contributes

    Raises
    ------
    ValueError : shapes that differ, or a value out of range

    Examples
    --------
    >>> round(effective_dof([3.0, 4.0], [9.0, float("inf")]), 2)
    69.44
    """
    contributions = np.atleast_1d(np.asarray(u, dtype=np.float64))
    degrees = np.atleast_1d(np.asarray(dof, dtype=np.float64))
    if contributions.shape != degrees.shape:
        raise ValueError(f"{contributions.size} contributions but {degrees.size} degrees of freedom")
    if not (np.all(np.isfinite(contributions)) and np.all(contributions >= 0) and np.all(degrees > 0)):
        raise ValueError("contributions must be finite and >= 0, degrees of freedom > 0")
    largest = contributions.max(initial=0.0)
    if largest == 0:
        return math.inf
    squares = (contributions / largest) ** 2
    over_dof = float(np.sum(squares**2 / degrees))
    return float(squares.sum()) ** 2 / over_dof if over_dof > 0 else math.inf


def coverage_factor(dof: float, level: float = 0.95) -> float:
    """The k that makes ``k * u`` a two-sided interval.

    Parameters
    ----------
    dof : float, > 0, infinite is allowed; not rounded down to a whole number
    level : float, 0..1 exclusive, the coverage probability

    Returns
    -------
    float : quantile of Student's t at ``(1 + level) / 2`` (GUM G.3.2 and table G.2)

    Raises
    ------
    ValueError : an argument out of range
    """
    if not dof > 0:
        raise ValueError(f"degrees of freedom must be > 0, got {dof}")
    if not 0 < level < 1:
        raise ValueError(f"the coverage must lie between 0 and 1, got {level}")
    from scipy.special import ndtri, stdtrit  # imported late: keeps `import tracker` light

    tail = (1 + level) / 2
    return float(ndtri(tail) if math.isinf(dof) else stdtrit(dof, tail))


def expanded(measured: Measured) -> float:
    """Half width of the 95 % interval around a `measured` value, ``U = k u``, in its unit (GUM 6.2.1)."""
    return coverage_factor(measured.dof) * measured.u


def format_measured(measured: Measured, digits: int = 1, *, with_unit: bool = False) -> str:
    """A measured value as text, with its 95 % interval to the same number of digits.

    Parameters
    ----------
    measured : Measured, shown with its 95 % interval
    digits : int, >= 0, digits after the point
    with_unit : bool, appends the unit where there is one

    Returns
    -------
    str : such as ``34.2 ± 1.6``; an uncertainty that would round to nothing reads ``± < 0.1``

    Examples
    --------
    >>> format_measured(Measured(34.23, 0.8, "L*"), with_unit=True)
    '34.2 ± 1.6 L*'
    """
    half_width = f"{expanded(measured):.{digits}f}"
    if float(half_width) == 0:
        half_width = f"< {10.0**-digits:.{digits}f}"
    text = f"{format_number(measured.value, digits)} ± {half_width}"
    return f"{text} {measured.unit}" if with_unit and measured.unit else text


def format_number(value: float, digits: int = 1) -> str:
    """A number with a true minus sign, and never minus zero.

    Parameters
    ----------
    value : float
    digits : int, >= 0, digits after the point

    Examples
    --------
    >>> format_number(-0.04), format_number(-2.25, 2)
    ('0.0', '−2.25')
    """
    size = f"{abs(value):.{digits}f}"
    return f"\u2212{size}" if value < 0 and float(size) != 0 else size


def format_share(share: float, digits: int = 0) -> str:
    """A share of 0..1 as a percentage.

    Parameters
    ----------
    share : float, 0..1
    digits : int, >= 0, digits after the point of the percentage

    Examples
    --------
    >>> format_share(0.414)
    '41 %'
    """
    return f"{format_number(100 * share, digits)} %"


def format_measured_share(share: Measured) -> str:
    """A measured share of 0..1 as a percentage with its 95 % interval.

    Parameters
    ----------
    share : Measured, 0..1

    Examples
    --------
    >>> format_measured_share(Measured(0.41, 0.1))
    '41 % (± 20)'
    """
    size, margin = format_measured(Measured(100 * share.value, 100 * share.u, "", share.dof), 0).split(" ± ")
    return f"{size} % (± {margin})"


def hotelling_limit(parts: int, dof: float, alpha: float) -> float:
    """The T² that chance alone exceeds with probability `alpha`, for a difference of that many components.

    Parameters
    ----------
    parts : int, >= 1
    dof : float, > 0, degrees of freedom behind the covariance; infinite where it is known
    alpha : float, 0..1

    Returns
    -------
    float : infinite where ``dof <= parts - 1``: no test is possible (`hotelling`)
    """
    from scipy.special import chdtri, fdtri  # imported late: keeps `import tracker` light

    rest = dof - parts + 1
    if rest <= 0:
        return math.inf
    if math.isinf(dof):
        return float(chdtri(parts, alpha))
    return float(fdtri(parts, rest, 1 - alpha)) * parts * dof / rest


def hotelling(delta: ArrayLike, cov: ArrayLike, dof: float) -> float:
    """Probability of a difference at least this large by chance alone.

    Parameters
    ----------
    delta : (p,), the observed difference
    cov : (p, p), covariance of the difference
    dof : float, > 0, degrees of freedom behind `cov`; infinite where it is known

    Returns
    -------
    float : p-value, 0..1

    Raises
    ------
    ValueError : shapes that do not match, a `cov` that is not a covariance, or a `dof` out of range

    Notes
    -----
    ``T² = delta' cov^-1 delta``; ``T² (dof - p + 1) / (dof p)`` follows F(p, dof - p + 1) (Hotelling 1931),
    and T² follows chi-squared(p) where `dof` is infinite.

    A singular covariance is tested only in the directions that have spread. A difference along a direction without
    spread cannot be chance: 0. Where ``dof <= p - 1`` there are too few repeats for any test: 1, nothing is claimed.
    """
    d = np.atleast_1d(np.asarray(delta, dtype=np.float64))
    if not dof > 0:
        raise ValueError(f"degrees of freedom must be > 0, got {dof}")
    if not np.all(np.isfinite(d)):
        raise ValueError("the difference must be finite")
    t_squared, rank, certain = _squared_distance(d, _covariance(cov, d.size))
    if certain:
        return 0.0
    if rank == 0 or dof <= rank - 1:
        return 1.0
    from scipy.special import chdtrc, fdtrc  # imported late: keeps `import tracker` light

    if math.isinf(dof):
        return float(chdtrc(rank, t_squared))
    rest = dof - rank + 1
    return float(fdtrc(rank, rest, t_squared * rest / (dof * rank)))


def _squared_distance(delta: Array, cov: Array) -> tuple[float, int, bool]:
    """Squared Mahalanobis distance, rank of `cov`, and whether `delta` has a part along which there is no spread."""
    sd = np.sqrt(np.maximum(np.diag(cov), 0.0))
    fixed = sd == 0
    # scaled to correlations, so that the rank does not depend on the units
    scale = np.where(fixed, 1.0, sd)
    scaled = delta / scale
    eigenvalues, eigenvectors = np.linalg.eigh(cov / np.outer(scale, scale))
    along = eigenvectors.T @ scaled
    varies = eigenvalues > _RELATIVE_RANK * max(float(eigenvalues.max(initial=0.0)), 1.0)
    outside = float(np.linalg.norm(along[~varies]))
    certain = outside > math.sqrt(_RELATIVE_RANK) * max(float(np.linalg.norm(scaled)), 1e-300)
    return float(np.sum(along[varies] ** 2 / eigenvalues[varies])), int(varies.sum()), certain


def _covariance(cov: ArrayLike, n: int) -> Array:
    """`cov` as an (n, n) array, checked to be finite, symmetric and without negative variance."""
    matrix = np.atleast_2d(np.asarray(cov, dtype=np.float64))
    if matrix.shape != (n, n):
        raise ValueError(f"the covariance must be {n} x {n}, got shape {matrix.shape}")
    if not np.all(np.isfinite(matrix)):
        raise ValueError("the covariance must be finite")
    size = float(np.abs(matrix).max(initial=0.0))
    if np.abs(matrix - matrix.T).max(initial=0.0) > 1e-9 * size:
        raise ValueError("the covariance must be symmetric")
    if float(np.linalg.eigvalsh(matrix).min(initial=0.0)) < -1e-9 * size:
        raise ValueError("the covariance has a negative variance")
    return matrix
