"""From lightness to the trade's level, 1 (black) to 10 (lightest blonde), in decimals.

We found no published table of L* by level. The default scale is a smooth curve through three anchors and is
provisional; a studio can replace it with its own. Readings keep their Lab, so levels follow the scale in force.

References
----------
[SCA] Scanavez, Zoega, Barbosa, Joekes 2000, J Cosmet Sci 51:289-302: black hair L* 18.4, dark brown 22.7 on a
      spectrophotometer. The anchor of level 10 at L* 67 is from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tracker.maths.quantities import LabMeasured, Matrix3, Measured, matrix3
from tracker.maths.uncertainty import coverage_factor

DARKEST, LIGHTEST = 1.0, 10.0

HALF_LEVELS = tuple(DARKEST + step / 2 for step in range(round(2 * (LIGHTEST - DARKEST)) + 1))
"""The levels in steps of a half, darkest first, for a person to choose from."""


@dataclass(frozen=True, slots=True)
class LevelScale:
    """A rising curve ``L* = floor + span * exp(rate * (level - 1))``.

    Attributes
    ----------
    name : str, shown beside every level
    floor, span : float, L*
    rate : float, per level
    u : float, standard deviation of labels from the smooth curve, levels; not a part of a lift
    provisional : bool, True until the studio has set its own
    cov : 3 x 3, covariance of the curve's L* at level 1, L* at level 10 and rate: a studio's scale is less certain away
        from its swatches, and every scale is more certain of a small step than of a large one
    span_levels : two floats or None, the darkest and the lightest level photographed
    source : str, where the scale comes from, one sentence
    """

    name: str
    floor: float
    span: float
    rate: float
    u: float
    provisional: bool
    cov: Matrix3
    span_levels: tuple[float, float] | None = None
    source: str = ""

    def lightness(self, level: float) -> float:
        """L* of hair at `level`, 1..10."""
        return self.floor + self.span * math.exp(self.rate * (level - 1))

    def slope(self, lightness: float) -> float:
        """L* per level at `lightness`, L*; > 0, and held beyond the ends of the scale."""
        return self.rate * (self._held(lightness) - self.floor)

    def level(self, lightness: float) -> float:
        """Level of hair of that `lightness`, L*; 1 or 10 beyond the ends of the scale."""
        return 1 + math.log((self._held(lightness) - self.floor) / self.span) / self.rate

    def levels(self, change: float, level: float) -> float:
        """A small change of lightness in levels.

        Parameters
        ----------
        change : float, L*
        level : float, 1..10, where the change took place
        """
        return change / self.slope(self.lightness(level))

    def around(self, lightness: float, reach: float) -> tuple[float, float]:
        """Levels around a lightness, counted from the nearest half level and kept within 1..10.

        Parameters
        ----------
        lightness : float, L*
        reach : float, levels to either side
        """
        level = round(2 * self.level(lightness)) / 2
        return max(level - reach, DARKEST), min(level + reach, LIGHTEST)

    def beyond(self, lightness: float) -> float:
        """How far an L* lies beyond the swatches: 0 between them, rising to 1 one level away; 1 without swatches.

        Over that one level, a choice of our own, the swatches give way to the scale from before.

        Parameters
        ----------
        lightness : float, L*
        """
        if self.span_levels is None:
            return 1.0
        level, (darkest, lightest) = self.level(lightness), self.span_levels
        return min(max(darkest - level, level - lightest, 0.0), 1.0)

    def uncertainty(self, lightness: float) -> float:
        """Standard uncertainty, in levels, of the level that the scale gives at `lightness`, L*."""
        return math.hypot(self.u, self._fitted(self._shift(lightness)))

    def difference_uncertainty(self, before: float, after: float) -> float:
        """Standard uncertainty that the shape of the curve brings into a difference of two levels.

        What shifts both levels alike cancels, and so does the scatter of labels about any curve.

        Parameters
        ----------
        before, after : float, L*
        """
        first, second = self._shift(before), self._shift(after)
        return self._fitted([late - early for early, late in zip(first, second, strict=True)])

    def _held(self, lightness: float) -> float:
        return min(max(lightness, self.lightness(DARKEST)), self.lightness(LIGHTEST))

    def _fitted(self, shift: Sequence[float]) -> float:
        variance = sum(one * self.cov[i][j] * other for i, one in enumerate(shift) for j, other in enumerate(shift))
        return math.sqrt(max(variance, 0.0))

    def _shift(self, lightness: float) -> list[float]:
        """Change of the level at that L* for one unit of L* at level 1, L* at level 10 and rate."""
        level, slope = self.level(lightness), self.slope(lightness)
        reach, whole = math.expm1(self.rate * (level - 1)), math.expm1(self.rate * (LIGHTEST - 1))
        share = reach / whole
        height = self.span * whole
        by_rate = height * ((level - 1) * (reach + 1) / whole - share * (LIGHTEST - 1) * (whole + 1) / whole)
        return [-(1 - share) / slope, -share / slope, -by_rate / slope]


LABELS = 0.25
"""Standard deviation of labels from a smooth curve, levels: a choice of our own."""

SPREAD = (2.0, 7.0, 0.06)
"""Standard uncertainties of the built-in curve's L* at level 1, its L* at level 10 and its rate.

Black hair reads L* 18.0 to 21.6 in [SCA], and 15 to 18 on a trade page (weak). The other two each move the level by 0.6
where they act most, at level 10 and in the middle: one level either way, rectangular, about as much as trade charts
differ (common practice, no source). Being errors of one smooth curve, they matter between distant levels and hardly
between close ones.
"""

# through [SCA]'s two rows and the remembered one
DEFAULT_SCALE = LevelScale(
    "provisional scale",
    10.62,
    7.78,
    0.22,
    LABELS,
    provisional=True,
    cov=matrix3([[SPREAD[row] ** 2 if row == column else 0.0 for column in range(3)] for row in range(3)]),
    source="Two published rows of dark hair (Scanavez et al. 2000) and one remembered value for the lightest.",
)


Outside = Literal["", "darker", "lighter"]
"""The end of the scale that a colour lies beyond; empty within it."""


@dataclass(frozen=True, slots=True)
class LevelReading:
    """A level, or the end of the scale that it lies beyond.

    Attributes
    ----------
    value : Measured or None, levels; None outside the scale
    outside : the end that it lies beyond
    provisional : bool, as of the scale
    """

    value: Measured | None
    outside: Outside
    provisional: bool


@dataclass(frozen=True, slots=True)
class Lift:
    """The change in level between two readings of the same hair.

    Attributes
    ----------
    value : Measured or None, levels, positive = lighter; None where a reading lies outside the scale
    at_least : float or None, lower bound of its size at 95 % where `value` is None
    outside : the ends of the scale that before and after lie beyond
    """

    value: Measured | None
    at_least: float | None = None
    outside: tuple[Outside, Outside] = ("", "")


def estimate_level(lab: LabMeasured, scale: LevelScale = DEFAULT_SCALE) -> LevelReading:
    """Level of a colour; never beyond the ends of the scale.

    Parameters
    ----------
    lab : the colour with its covariance
    scale : the scale in force
    """
    lightness = lab.lab[0]
    outside = _outside(lightness, scale)
    if outside:
        return LevelReading(None, outside, scale.provisional)
    u = math.hypot(lab.u[0] / scale.slope(lightness), scale.uncertainty(lightness))
    value = Measured(scale.level(lightness), u, "level", lab.dof)
    return LevelReading(value, "", scale.provisional)


def _outside(lightness: float, scale: LevelScale) -> Outside:
    if lightness < scale.lightness(DARKEST):
        return "darker"
    return "lighter" if lightness > scale.lightness(LIGHTEST) else ""


def estimate_lift(
    before: float,
    after: float,
    u_before: float,
    u_after: float,
    scale: LevelScale = DEFAULT_SCALE,
    dof: float = math.inf,
) -> Lift:
    """Lift between two lightnesses; errors of the scale that are the same at both cancel.

    Parameters
    ----------
    before, after : float, L*
    u_before, u_after : float, standard uncertainties of the parts that do not cancel, L*
    scale : LevelScale, for both
    dof : float, degrees of freedom behind them

    Examples
    --------
    >>> estimate_lift(10.0, 45.0, 0.5, 0.5).outside
    ('darker', '')
    """
    outside = _outside(before, scale), _outside(after, scale)
    if any(outside):
        # a bound must hold, so both lightnesses and the scale move by their 95 % towards the smaller lift
        (dark, u_dark), (light, u_light) = sorted(((before, u_before), (after, u_after)))
        factor = coverage_factor(dof)
        light, dark = light - factor * u_light, dark + factor * u_dark
        shape = factor * scale.difference_uncertainty(dark, light)
        bound = max(scale.level(light) - scale.level(dark) - shape, 0.0)
        return Lift(None, bound, outside)
    change = scale.level(after) - scale.level(before)
    colours = u_before / scale.slope(before), u_after / scale.slope(after)
    u = math.hypot(*colours, scale.difference_uncertainty(before, after))
    return Lift(Measured(change, u, "levels", dof))
