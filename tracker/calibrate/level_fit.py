"""The studio's own level scale, from swatches of known level beside its card.

The scale keeps the shape of the built-in one, a curve that rises ever faster, and the swatches fix three numbers: L* at
level 1, L* at level 10 and the rate. A few swatches cannot support more. Such a curve always rises, has an inverse in
closed form, and knows its uncertainty away from the swatches, where it falls back on the built-in scale. A free curve
through every swatch would copy the error of each into the levels.

References
----------
[GUM]  JCGM 100:2008, 4.3 and H.3: prior knowledge, and a curve with the covariance of its parameters.
[GEL]  Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, 14.8: prior knowledge as further observations. From memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from tracker.calibrate.level import DARKEST, DEFAULT_SCALE, LABELS, LIGHTEST, SPREAD, LevelScale
from tracker.errors import CannotCalibrate
from tracker.maths.quantities import LabMeasured, matrix3
from tracker.maths.uncertainty import Array
from tracker.words import noun

FEWEST_LEVELS = 3
LEAST_SPAN = 2.0
"""Levels between the darkest and the lightest swatch, at least."""

LARGEST_RESIDUAL = 1.5
"""Levels by which a swatch may lie off the curve: more means a wrong label or a photo of something else."""

# the prior is the built-in scale with its own uncertainty
_KNOWN = np.array([DEFAULT_SCALE.lightness(DARKEST), DEFAULT_SCALE.lightness(LIGHTEST), DEFAULT_SCALE.rate])
_LOWEST, _HIGHEST = np.array([6.0, 40.0, 0.04]), np.array([32.0, 95.0, 0.50])

_WORTH = 2.0  # swatches that the guess of `LABELS` is worth: a choice of our own


@dataclass(frozen=True, slots=True)
class LevelSwatch:
    """One swatch of known level.

    Attributes
    ----------
    name : str, what the studio calls it
    level : float, as its label says, 1..10
    lab : its colour
    """

    name: str
    level: float
    lab: LabMeasured


@dataclass(frozen=True, slots=True)
class ScaleFit:
    """A scale and how well its swatches fit it.

    Attributes
    ----------
    scale : LevelScale
    residuals : levels, each swatch's reading minus its label
    """

    scale: LevelScale
    residuals: tuple[float, ...]


def fit_scale(swatches: Sequence[LevelSwatch], name: str) -> ScaleFit:
    """The level scale that fits these swatches.

    Parameters
    ----------
    swatches : at least three different levels, two levels apart from first to last
    name : str, shown beside every level

    Raises
    ------
    CannotCalibrate : too few, too close together, in the wrong order, or one far from the others
    """
    _require(swatches)
    levels = np.array([swatch.level for swatch in swatches])
    lightness = np.array([swatch.lab.lab[0] for swatch in swatches])
    u = np.array([max(swatch.lab.u[0], 0.1) for swatch in swatches])
    labels, found = LABELS, _KNOWN
    for _ in range(12):  # the scatter decides the weights, and the weights the scatter
        found, cov, freedom = _curve(levels, lightness, u, labels, found)
        residuals = _level(found, lightness) - levels
        own = u / _slope(found, lightness)
        # what the photo's own uncertainty does not explain of each residual; the guess counts as extra swatches
        share = labels**2 / (labels**2 + own**2)
        off = _WORTH * LABELS**2 + float(np.sum(share * residuals**2))
        again = math.sqrt(off / (_WORTH + freedom * float(np.mean(share))))
        if abs(again - labels) < 1e-4:
            break
        labels = again
    _require_close(swatches, residuals, LARGEST_RESIDUAL + 2 * own)
    scale = LevelScale(
        name,
        float(found[0] - _span(found)),
        float(_span(found)),
        float(found[2]),
        labels,
        provisional=False,
        cov=matrix3(cov),
        span_levels=(float(levels.min()), float(levels.max())),
        source=f"Own scale: {len(swatches)} swatches from level {levels.min():g} to {levels.max():g}, "
        f"{labels:.2f} levels off the curve (standard deviation).",
    )
    return ScaleFit(scale, tuple(float(residual) for residual in residuals))


def _require(swatches: Sequence[LevelSwatch]) -> None:
    levels = sorted({swatch.level for swatch in swatches})
    if any(not DARKEST <= level <= LIGHTEST for level in levels):
        raise CannotCalibrate(f"Levels go from {DARKEST:g} to {LIGHTEST:g}.", "Correct the level of that swatch.")
    if len(levels) < FEWEST_LEVELS:
        missing = FEWEST_LEVELS - len(levels)
        raise CannotCalibrate(
            f"A scale needs swatches of at least {FEWEST_LEVELS} levels; there {'is' if len(levels) == 1 else 'are'} "
            f"{len(levels)}.",
            f"Photograph {missing} more of {noun(missing, 'another level', 'other levels')}.",
            value=float(len(levels)),
            limit=float(FEWEST_LEVELS),
            unit="levels",
        )
    if levels[-1] - levels[0] < LEAST_SPAN:
        raise CannotCalibrate(
            f"The swatches span {levels[-1] - levels[0]:g} levels (at least {LEAST_SPAN:g}).",
            "Add a darker or a lighter one.",
            value=levels[-1] - levels[0],
            limit=LEAST_SPAN,
            unit="levels",
        )
    for first, second in combinations(sorted(swatches, key=lambda swatch: swatch.level), 2):
        fall = first.lab.lab[0] - second.lab.lab[0]
        limit = 2 * math.hypot(first.lab.u[0], second.lab.u[0])
        if second.level - first.level >= 1 and fall > limit:
            raise CannotCalibrate(
                f"“{second.name}” (level {second.level:g}) reads darker than “{first.name}” (level {first.level:g}), "
                f"by {fall:.1f} L* (limit {limit:.1f}).",
                "Check both labels, and photograph the two again.",
                value=fall,
                limit=limit,
                unit="L*",
            )


def _require_close(swatches: Sequence[LevelSwatch], residuals: Array, limits: Array) -> None:
    worst = int(np.argmax(np.abs(residuals) / limits))
    off, limit = float(residuals[worst]), float(limits[worst])
    if abs(off) > limit:
        swatch = swatches[worst]
        raise CannotCalibrate(
            f"“{swatch.name}” is labelled level {swatch.level:g} and reads like level {swatch.level + off:.1f} "
            f"beside the others ({abs(off):.1f} apart, limit {limit:.1f}).",
            "Check its label, or take it out and photograph it again.",
            value=abs(off),
            limit=limit,
            unit="levels",
        )


def _span(curve: Array) -> float:
    return float((curve[1] - curve[0]) / np.expm1(curve[2] * (LIGHTEST - DARKEST)))


def _lightness(curve: Array, levels: Array) -> Array:
    return np.asarray(curve[0] + _span(curve) * np.expm1(curve[2] * (levels - DARKEST)))


def _level(curve: Array, lightness: Array) -> Array:
    """Level of an L*, along the tangent beyond 1 and 10, so that residuals still count there."""
    low, high = curve[0], curve[1]
    inside = np.clip(lightness, low, high)
    levels = DARKEST + np.log1p((inside - low) / _span(curve)) / curve[2]
    return np.asarray(levels + (lightness - inside) / _slope(curve, lightness))


def _slope(curve: Array, lightness: Array) -> Array:
    """L* per level; beyond 1 and 10 that of the ends."""
    return np.asarray(curve[2] * (np.clip(lightness, curve[0], curve[1]) - curve[0] + _span(curve)))


def _gradient(curve: Array, levels: Array) -> Array:
    """How each L* follows L* at level 1, L* at level 10 and the rate, (N, 3)."""
    whole, from_first = LIGHTEST - DARKEST, levels - DARKEST
    share = np.expm1(curve[2] * from_first) / np.expm1(curve[2] * whole)
    rising = from_first * np.exp(curve[2] * from_first) / np.expm1(curve[2] * whole)
    falling = share * whole * np.exp(curve[2] * whole) / np.expm1(curve[2] * whole)
    return np.column_stack([1 - share, share, (curve[1] - curve[0]) * (rising - falling)])


def _curve(levels: Array, lightness: Array, u: Array, labels: float, near: Array) -> tuple[Array, Array, float]:
    """The likeliest curve, its covariance, and the swatches left over to estimate the scatter; starts `near` one."""
    from scipy.optimize import least_squares  # imported late: keeps `import tracker` light

    curve = near
    prior = np.diag(1 / np.array(SPREAD))
    for _ in range(6):
        weights = 1 / np.hypot(u, labels * _slope(curve, lightness))

        def misfit(trial: Array, weights: Array = weights) -> Array:
            return np.concatenate([weights * (_lightness(trial, levels) - lightness), (trial - _KNOWN) / SPREAD])

        def gradient(trial: Array, weights: Array = weights) -> Array:
            return np.vstack([weights[:, None] * _gradient(trial, levels), prior])

        start = np.clip(curve, _LOWEST, _HIGHEST)
        found = least_squares(misfit, start, gradient, bounds=(_LOWEST, _HIGHEST), x_scale=SPREAD)
        if np.allclose(found.x, curve, rtol=1e-6):
            break
        curve = found.x
    cov = np.linalg.inv(found.jac.T @ found.jac)
    from_swatches = found.jac[: len(levels)]
    used = float(np.trace(from_swatches @ cov @ from_swatches.T))
    return found.x, cov, max(len(levels) - used, 0.5)
