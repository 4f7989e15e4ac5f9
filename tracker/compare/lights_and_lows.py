"""Lights and lows over the whole length: how the lightness of the hair is spread, and what share was lightened.

The uncertainty comes from redrawing the photo: the light may have been a little stronger or weaker for all pieces, and
the pieces seen are a sample. Pieces of one clump are alike, so a stretch counts for no more pieces than clumps lie
across the hair. Lights and lows as single values also carry the error that every photo with that camera and card
shares; it cancels between two curves and in the share that was lightened.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.maths.quantities import Measured
from tracker.measure.camera_error import MISFIT_ALONE, lightness_shifts
from tracker.measure.reading import PhotoReading
from tracker.measure.reference_card import camera_error, kind_or_plain

_DRAWS = 300
_INDEPENDENT = 12  # pieces of a stretch on different clumps
_BY_CHANCE = 0.05  # share of hair above the lightest twentieth of what was there before, when nothing was done
_FINE = 80  # steps at which the quantiles of a stretch are read
_COVERAGE = 1.96  # standard uncertainties of a normal distribution that hold 95 %
_SMOOTH = 1.5  # L*, standard deviation of the kernel of a drawn distribution


@dataclass(frozen=True, slots=True)
class Shades:
    """The spread of lightness of a head of hair, L*.

    Attributes
    ----------
    lights, lows : mean of the lightest and of the darkest quarter
    dimension : their difference
    """

    lights: Measured
    lows: Measured
    dimension: Measured


@dataclass(frozen=True, slots=True, eq=False)
class Distribution:
    """How much of the hair has each lightness.

    Attributes
    ----------
    lightness : (n,), L*
    share : (n,), percent of the hair for each step of 1 L*
    low, high : (n,), the 95 % band of `share`
    """

    lightness: Floats
    share: Floats
    low: Floats
    high: Floats


def shades(reading: PhotoReading) -> Shades | None:
    """Lights and lows over the whole length of `reading`; None without a number or with too little hair kept."""
    pieces, u_light = _pieces(reading), _u_light(reading)
    if pieces is None or u_light is None:
        return None
    drawn = np.array([_quarters(sample) for sample in _redrawn(pieces, u_light, np.random.default_rng(11))])
    whole = _quarters(pieces)
    u = np.hypot(drawn.std(axis=0, ddof=1), _kit_u(reading, float(whole[0]), float(whole[1])))
    lights, lows, dimension = (Measured(float(whole[k]), float(u[k]), "L*") for k in range(3))
    return Shades(lights, lows, dimension)


def distribution(reading: PhotoReading, lightness: Floats | None = None) -> Distribution | None:
    """The spread as a curve with its band; None where there is none.

    Parameters
    ----------
    reading : PhotoReading
    lightness : (n,), L* at which the curve is wanted; None for 0, 1 and so on up to 100
    """
    lightness = np.arange(0.0, 101.0) if lightness is None else lightness
    pieces, u_light = _pieces(reading), _u_light(reading)
    if pieces is None or u_light is None:
        return None
    redrawn = _redrawn(pieces, u_light, np.random.default_rng(12))
    low, high = np.quantile([_curve(sample, lightness) for sample in redrawn], [0.025, 0.975], axis=0)
    return Distribution(lightness, _curve(pieces, lightness), low, high)


def share_lightened(before: PhotoReading, after: PhotoReading) -> Measured | None:
    """Share of the hair that is now lighter than nearly all of the same stretch was before, 0..1.

    Each stretch is compared with itself, so the shape of the head does not count. What lies above the lightest
    twentieth by chance is subtracted. None where either photo shows too little hair to tell.

    Parameters
    ----------
    before, after : PhotoReading
    """
    first, second = _common(before, after)
    u_first, u_second = _u_light(before), _u_light(after)
    if not len(first) or u_first is None or u_second is None:
        return None
    rng = np.random.default_rng(13)
    # the limits from before are as certain as their light; the pieces after are a sample
    shifts = rng.normal(0.0, u_first, _DRAWS)
    redrawn = zip(_redrawn(second, u_second, rng), shifts, strict=True)
    draws = [_beyond(first + shift, sample) for sample, shift in redrawn]
    return Measured(_beyond(first, second), float(np.std(draws, ddof=1)), "share")


def is_lightened(share: Measured) -> bool:
    """Whether the `share` of lightened hair, 0..1, is larger than its 95 % margin."""
    return share.value > _COVERAGE * share.u


def _fine(quantiles: tuple[float, ...]) -> Floats:
    """Values at even steps through a stretch's quantiles, (n,)."""
    at = (np.arange(_FINE) + 0.5) / _FINE
    return np.interp(at, np.linspace(0, 1, len(quantiles)), quantiles)


def _pieces(reading: PhotoReading) -> Floats | None:
    """(stretches, values); None where less than half of the length was kept."""
    kept = [_fine(quantiles) for quantiles in reading.stretches if quantiles]
    return np.array(kept) if kept and len(kept) * 2 >= len(reading.stretches) else None


def _common(before: PhotoReading, after: PhotoReading) -> tuple[Floats, Floats]:
    """The stretches that both photos have; none if fewer than half."""
    both = [(a, b) for a, b in zip(before.stretches, after.stretches, strict=False) if a and b]
    if 2 * len(both) < max(len(before.stretches), len(after.stretches)):
        both = []
    return np.array([_fine(a) for a, _ in both]), np.array([_fine(b) for _, b in both])


def _u_light(reading: PhotoReading) -> float | None:
    """Standard uncertainty of the lightness that all pieces of a photo share."""
    if not reading.ok:
        return None
    return float(np.sqrt(np.mean([region.repeat_cov[0][0] for region in reading.regions])))


def _kit_u(reading: PhotoReading, lights: float, lows: float) -> Floats:
    """Standard uncertainties of lights, lows and dimension from the camera's rendering and the card."""
    kind, misfit = kind_or_plain(reading.card.kind), MISFIT_ALONE * reading.correction.misfit[0]
    size = camera_error(reading.card, None)
    light, low = (lightness_shifts(value, size, kind.tolerance) for value in (lights, lows))
    causes = (*light, misfit), (*low, misfit), (*(light - low), math.sqrt(2) * misfit)
    return np.array([math.hypot(*each) for each in causes])


def _redrawn(pieces: Floats, u_light: float, rng: np.random.Generator) -> Floats:
    """(draws, stretches, pieces): samples of every stretch, each draw under a light of its own."""
    chosen = rng.integers(0, pieces.shape[1], size=(_DRAWS, len(pieces), _INDEPENDENT))
    samples = np.take_along_axis(pieces[None], chosen, axis=2)
    return np.asarray(samples + rng.normal(0.0, u_light, (_DRAWS, 1, 1)))


def _quarters(values: Floats) -> Floats:
    """Lights, lows and dimension."""
    ordered = np.sort(values, axis=None)
    quarter = max(1, len(ordered) // 4)
    lows, lights = ordered[:quarter].mean(), ordered[-quarter:].mean()
    return np.array([lights, lows, lights - lows])


def _curve(values: Floats, lightness: Floats) -> Floats:
    away = (lightness[:, None] - values.ravel()) / _SMOOTH
    return np.asarray(100 * np.exp(-np.square(away) / 2).mean(axis=1) / (_SMOOTH * np.sqrt(2 * np.pi)))


def _beyond(before: Floats, after: Floats) -> float:
    limits = np.quantile(before, 1 - _BY_CHANCE, axis=1, keepdims=True)
    share = float(np.mean(after > limits))
    return max((share - _BY_CHANCE) / (1 - _BY_CHANCE), 0.0)
