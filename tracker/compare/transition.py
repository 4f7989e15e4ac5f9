"""Where the lightening starts along the hair, and how softly the root blends into it.

A smooth rise is fitted to the lightness from root to tip. Its start, steepest slope and height come with intervals from
the scatter of the profile: every pair of place and width of the rise is weighted by how well it fits, so a rise that
the photo cannot place comes out wide or not at all.

The shape of the head alone changes the lightness along it by several L*. That is the same before and after, so with two
photos the rise is fitted to their difference; in one photo alone a rise counts only if it is more than that shape
makes. Without that, a root would be seen in 63 of 96 photos of our rendered heads of natural hair; with it, in none.

References
----------
Weights on a grid with the linear part integrated: Bretthorst 1988, Bayesian Spectrum Analysis, Springer, ch. 3.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.maths.quantities import Measured
from tracker.measure.reading import ProfilePoint

_PLACES = np.linspace(-0.1, 1.1, 97)  # of the middle of the rise, shares of the length
_WIDTHS = np.geomspace(0.008, 0.35, 40)  # of the logistic: the rise from 10 to 90 % takes 4.4 of them
_TEN_PERCENT = np.log(9.0)  # widths from the middle of a logistic to where it has reached a tenth
_FEWEST = 12
_AT_THE_ROOT = 0.05  # share of the length; a choice of our own
# what the shape of the head alone may do to L* + 16 from root to tip, as a share: rendered heads of one colour read
# L* 20 at the crown and 10 under the curve. That is the whole of a fall; a rise is held to 95 % of half of it
_FALL = 10 / (20 + 16)
_RISE = 1.96 * 5 / math.sqrt(3) / (15 + 16)
_SMALLEST_RISE = 2.0  # L*: smaller rises do not count as lightening; a weak choice of our own


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its 95 % interval, which may be asymmetric."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Interval:
        """The same in another unit; `factor` > 0."""
        return Interval(factor * self.value, factor * self.low, factor * self.high)


@dataclass(frozen=True, slots=True)
class Blend:
    """The rise of lightness from the root into the lengths.

    Attributes
    ----------
    start : where a tenth of the rise is reached, share of the length, 0 at the root
    steepest : slope at the steepest place, L* for the whole length
    rise : L*, from the root to the lightened lengths
    from_before : bool, True where it is the difference from an earlier photo
    """

    start: Interval
    steepest: Interval
    rise: Interval
    from_before: bool

    @property
    def from_the_root(self) -> bool:
        """Whether it starts so near the root that no way to it is worth telling."""
        return self.start.value < _AT_THE_ROOT

    @property
    def per_tenth(self) -> Interval:
        """The steepest place in L* per tenth of the way."""
        return self.steepest.times(0.1)

    def start_cm(self, length_mm: Measured) -> Interval:
        """`start_mm` in centimetres, for hair of `length_mm`, millimetres."""
        return self.start_mm(length_mm).times(0.1)

    def per_cm(self, length_mm: Measured) -> Interval:
        """The steepest slope, L* per centimetre, for hair of `length_mm`, millimetres."""
        value = self.steepest.value / (length_mm.value / 10)
        unsure = 1.96 * length_mm.u / length_mm.value
        below = math.hypot(1 - self.steepest.low / self.steepest.value, unsure)
        above = math.hypot(self.steepest.high / self.steepest.value - 1, unsure)
        return Interval(value, value * max(1 - below, 0.0), value * (1 + above))

    def start_mm(self, length_mm: Measured) -> Interval:
        """Distance from the root to where the lightening starts, mm, for hair of `length_mm`, millimetres."""
        value = self.start.value * length_mm.value
        unsure = 1.96 * length_mm.u * self.start.value
        below = math.hypot((self.start.value - self.start.low) * length_mm.value, unsure)
        above = math.hypot((self.start.high - self.start.value) * length_mm.value, unsure)
        return Interval(value, max(value - below, 0.0), value + above)


def find_blend(
    after: Sequence[ProfilePoint], before: Sequence[ProfilePoint] | None = None, *, falls: bool = False
) -> Blend | None:
    """The rise of lightness along the hair in one photo, or in the difference from an earlier one.

    Parameters
    ----------
    after : points along the hair, root first
    before : those of an earlier photo of the same hair, at the same places; None for a single photo
    falls : bool, True to look for a fall instead, where the root is lighter than the lengths; told as if it rose

    Returns
    -------
    Blend or None : None where no rise is significant, or there are too few points
    """
    points = sorted(after, key=lambda point: point.position)
    if len(points) < _FEWEST or (before is not None and len(before) < _FEWEST):
        return None
    way = np.array([point.position for point in points])
    light = np.array([point.lab[0] for point in points])
    u = np.array([point.u_lightness for point in points])
    if before is not None:
        earlier = sorted(before, key=lambda point: point.position)
        place = [point.position for point in earlier]
        light = light - np.interp(way, place, [point.lab[0] for point in earlier])
        u = np.hypot(u, np.interp(way, place, [point.u_lightness for point in earlier]))
    found = _fit(way, -light if falls else light, np.maximum(u, 0.2), from_before=before is not None)
    if found is None or found.from_before:
        return found
    by_shape = _FALL * (light.max() + 16) if falls else _RISE * (light.min() + 16)
    return found if found.rise.value > by_shape else None


def _fit(way: Floats, light: Floats, u: Floats, *, from_before: bool) -> Blend | None:
    place, width = (axis.ravel() for axis in np.meshgrid(_PLACES, _WIDTHS, indexing="ij"))
    shape = 1 / (1 + np.exp(-np.clip((way - place[:, None]) / width[:, None], -40, 40)))
    floor, rise, cov, misfit = _lines(shape, light, 1 / np.square(u))
    best = int(np.argmin(misfit))
    rest = (light - floor[best] - rise[best] * shape[best]) / u
    scatter = _scatter(rest)
    weight = np.exp(-(misfit - misfit[best]) / (2 * scatter))
    # nobody saw a rise that lies almost wholly beyond the hair
    seen = shape[:, -1] - shape[:, 0]
    weight = np.where(seen > 0.5, weight, 0.0)
    if weight.sum() <= 0:
        return None
    rng = np.random.default_rng(5)
    drawn = rng.choice(len(weight), size=4000, p=weight / weight.sum())
    heights = rise[drawn] + rng.normal(size=len(drawn)) * np.sqrt(cov[drawn] * scatter)
    # only the part on the hair counts as risen
    risen = heights * seen[drawn]
    height = _interval(risen)
    if height.low <= 0 or height.value < _SMALLEST_RISE:
        return None
    start = np.clip(place[drawn] - _TEN_PERCENT * width[drawn], 0.0, 1.0)
    return Blend(_interval(start), _interval(heights / (4 * width[drawn])), height, from_before)


def _lines(shape: Floats, light: Floats, weight: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Weighted fit of each shape to the lightness: floor, rise, variance of the rise, and residual."""
    total = weight.sum()
    mean_shape, mean_light = shape @ weight / total, float(light @ weight / total)
    away = shape - mean_shape[:, None]
    squares = np.maximum(np.square(away) @ weight, 1e-12)
    rise = (away * (light - mean_light)) @ weight / squares
    floor = mean_light - rise * mean_shape
    left = light - floor[:, None] - rise[:, None] * shape
    return floor, rise, 1 / squares, np.square(left) @ weight


def _scatter(rest: Floats) -> float:
    """Factor by which the scatter exceeds the claim; neighbouring points that stray together count for fewer.

    First-order autoregression: the variance of a mean grows by (1 + r) / (1 - r).
    """
    variance = float(rest @ rest) / max(len(rest) - 4, 1)
    away = rest - rest.mean()
    alike = float(away[1:] @ away[:-1] / max(float(away @ away), 1e-12))
    alike += (1 + 4 * alike) / len(rest)  # a short series looks less correlated than it is (Marriott and Pope 1954)
    alike = float(np.clip(alike, 0.0, 0.8))
    return max(variance, 1.0) * (1 + alike) / (1 - alike)


def _interval(values: Floats) -> Interval:
    low, middle, high = np.quantile(values, [0.025, 0.5, 0.975])
    return Interval(float(middle), float(low), float(high))
