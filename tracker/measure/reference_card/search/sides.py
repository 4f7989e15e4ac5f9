"""Straight sides of cards to a fraction of a pixel, from the step along each of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.geometry import (
    all_corners_of,
    all_sides,
    areas,
    outwards,
    which_card_shaped,
)
from tracker.measure.reference_card.search.light import Lights, lights_on, sample
from tracker.measure.reference_card.search.reduced import Reduced

Noise = TypeVar("Noise", float, Floats)

_FINE, _COARSE = 0.5, 1.0  # pixels between samples across a side
_ROWS = 28  # places along a side
_BLENDED = 5  # of those places, against noise
_MARGIN = 5.0  # pixels sampled beyond the reach
_BESIDE = 2.5  # pixels inside a side where the photo must still be the card
_PENALTY = 1.5
_SHADE = 0.02  # of the card's codes, by which a rim may be shaded more than the plane of light says
_PEAK = 2.0  # pixels on both sides of a line where the step may lie
_ENDS = (0.05, 0.95)  # of a side; corners are rounded
_MOST_UNEVEN = 6.0  # codes about the plane of light: no card, and not worth the search
_CORE = 0.75  # of a card's width and height, free of its rim
_INWARDS = 32  # samples over the way in which a card's own edge is looked for further in


@dataclass(frozen=True, slots=True, eq=False)
class Across:
    """What lies across the sides of n outlines: t places along each side, o samples at each.

    Attributes
    ----------
    step : (n, 4, t, o) float32, codes, how much changes over two pixels
    off : (n, 4, t, o) float32, codes, what differs from the card's own light
    along : (t,), places along a side, 0..1
    offsets : (n, 4, o), pixels outwards
    """

    step: np.ndarray
    off: np.ndarray
    along: Floats
    offsets: Floats


def refine(
    photo: Reduced, quad: Floats, blur: float, reach: tuple[float, float] | None = None, longest: float = 2.2
) -> Floats | None:
    """The outline with its sides on the steps round the even middle; None where no card remains.

    Parameters
    ----------
    photo : Reduced
    quad : (4, 2), pixels
    blur : float, pixels, how far its sides may be off
    reach : pixels inwards and outwards, for one round; None for two rounds by the blur
    longest : float, largest ratio of the sides
    """
    quads = quad[None]
    for each in [reach] if reach else reaches(blur):
        quads = refine_all(photo, quads, each, longest)
        if not np.isfinite(quads).all():
            return None
    return np.asarray(quads[0])


def refine_all(photo: Reduced, quads: Floats, reach: tuple[float, float], longest: float = 2.2) -> Floats:
    """One round of moving all sides of many outlines, (n, 4, 2); NaN for those where no card remains.

    Parameters
    ----------
    photo : Reduced
    quads : (n, 4, 2), pixels
    reach : pixels inwards and outwards
    longest : float, largest ratio of the sides
    """
    out = np.full(quads.shape, np.nan)
    if not len(quads):
        return out
    light = lights_on(photo.smooth, quads, _CORE)
    even = np.flatnonzero(light.unevenness <= max(_MOST_UNEVEN, 2.5 * photo.noise))
    if not len(even):
        return out
    light = Lights(light.plane[even], light.centre[even], light.size[even], light.rest[even])
    begin = quads[even]
    shortest = all_sides(begin)[1].min(axis=1)[:, None]
    within = np.minimum(reach[0], 0.1 * shortest), np.minimum(reach[1], 0.3 * shortest + 2)
    spacing = np.full((len(even), 4), _COARSE if reach[1] > 6 else _FINE)
    points, directions = _lines(photo.smooth, light, begin, within, spacing, reach, light.noise(photo.noise))
    moved = all_corners_of(points, directions)
    slack = 0.02 * max(photo.size)
    keep = which_card_shaped(moved, 0.15, longest)
    keep &= (moved >= -slack).all(axis=(1, 2)) & (moved <= np.array(photo.size) + slack).all(axis=(1, 2))
    out[even[keep]] = moved[keep]
    return out


def reaches(blur: float) -> list[tuple[float, float]]:
    """Pixels inwards and outwards of the two rounds for an outline found with a blur, pixels.

    Parameters
    ----------
    blur : float, pixels
    """
    return [(2.0, 4.0 * blur + 3), (3.0, 3.0 + 0.6 * blur)]


def look_inside(photo: Reduced, quads: Floats, rims: Floats, longest: float = 2.2) -> Floats:
    """The outlines with each doubtful side moved inwards to the first edge of the even middle; NaN where none is.

    Parameters
    ----------
    photo : Reduced
    quads : (n, 4, 2), pixels
    rims : (n, 4), codes by which each side's rim differs from the middle
    longest : float, largest ratio of the sides
    """
    if not len(quads):
        return np.empty((0, 4, 2))
    light = lights_on(photo.smooth, quads, 0.55)
    noise = light.noise(photo.noise)
    along, lengths = all_sides(quads)
    across = np.minimum(lengths[:, [1, 2, 3, 0]], lengths[:, [3, 0, 1, 2]])
    spacing = np.maximum(0.24 * across / _INWARDS, _FINE)
    reach = _INWARDS * spacing.max(), spacing.max()
    points, directions = _lines(
        photo.smooth, light, quads, (0.24 * across, np.ones_like(across)), spacing, reach, noise, most=5 * noise
    )
    clean = (rims <= rim_limit(noise)[:, None])[..., None]
    points = np.where(clean, quads, points)
    directions = np.where(clean, along / lengths[..., None], directions)
    inner = all_corners_of(points, directions)
    keep = which_card_shaped(inner, 0.15, longest)
    keep[keep] = areas(inner[keep]) >= 0.5 * areas(quads[keep])
    out = np.full(quads.shape, np.nan)
    out[keep] = refine_all(photo, inner[keep], (2.0, 2.0), longest)
    return out


def rim_limit(noise: Noise) -> Noise:
    """Codes above which what lies inside a side is not the card any more.

    Parameters
    ----------
    noise : float or (n,), codes
    """
    return 1.2 * noise + 0.8


def _lines(
    picture: np.ndarray,
    light: Lights,
    quads: Floats,
    within: tuple[Floats, Floats],
    spacing: Floats,
    reach: tuple[float, float],
    noise: Floats,
    most: Floats | None = None,
) -> tuple[Floats, Floats]:
    """A point and a direction of the line near each side with the steepest step that still has the card inside.

    `within` is how far a side may move, at most `reach`. `most` caps the step, so that the card's own edge wins over a
    stronger one further out.
    """
    across = across_sides(picture, light, quads, spacing, reach)
    lengths = all_sides(quads)[1]
    limit = (rim_limit(noise) + _SHADE * light.plane[:, 0].mean(axis=1))[:, None]
    line = _best_line(across, lengths, within, limit, most)
    return sides_moved(quads, *sub_pixel(across, line))


def sides_moved(quads: Floats, shift: Floats, slope: Floats) -> tuple[Floats, Floats]:
    """A point and a unit direction of each side after it moved outwards, (n, 4, 2) each.

    Parameters
    ----------
    quads : (n, 4, 2), pixels
    shift, slope : (n, 4), pixels at the beginning of a side, and how many more at its end
    """
    normals = outwards(quads)
    first = quads + shift[..., None] * normals
    last = quads[:, [1, 2, 3, 0]] + (shift + slope)[..., None] * normals
    direction = last - first
    return first, direction / np.maximum(np.hypot(direction[..., 0], direction[..., 1]), 1e-9)[..., None]


def across_sides(
    picture: np.ndarray, light: Lights, quads: Floats, spacing: Floats, reach: tuple[float, float]
) -> Across:
    """Sample what lies across the sides.

    Parameters
    ----------
    picture : (h, w, 3) float32, codes
    light : of the n outlines
    quads : (n, 4, 2), pixels
    spacing : (n, 4), pixels between samples
    reach : pixels inwards and outwards, for the largest spacing
    """
    count, gap = len(quads), float(spacing.max())
    samples = np.arange(-np.ceil((reach[0] + _MARGIN) / gap), np.ceil((reach[1] + _MARGIN) / gap) + 1)
    along = np.linspace(*_ENDS, _ROWS)
    offsets = spacing[..., None] * samples
    normals, following = outwards(quads), quads[:, [1, 2, 3, 0]]
    x, y = (
        (quads[..., axis, None] + along * (following - quads)[..., axis, None])[..., None]
        + (offsets * normals[..., axis, None])[:, :, None]
        for axis in (0, 1)
    )
    codes = along_smoothed(sample(picture, x, y))
    off = size_of(codes - light.at(x, y))
    two = 2 if gap < 0.75 else 1  # samples, so that the step is over two pixels, or over two samples
    step = np.zeros_like(off)
    step[..., two:-two] = size_of(codes[..., 2 * two :, :] - codes[..., : -2 * two, :])
    return Across(step, off, along, offsets.reshape(count, 4, -1))


def along_smoothed(codes: np.ndarray) -> np.ndarray:
    """Mean over five neighbouring places along each side: less noise, and the edge across it as sharp as it was.

    Parameters
    ----------
    codes : (n, 4, t, o, 3) float32
    """
    rows = codes.shape[2]
    sums = np.cumsum(codes, axis=2, dtype=np.float32)
    last = np.minimum(np.arange(rows) + _BLENDED // 2, rows - 1)
    before = np.arange(rows) - _BLENDED // 2 - 1
    means = sums[:, :, last]
    means[:, :, before >= 0] -= sums[:, :, before[before >= 0]]
    return np.asarray(means / (last - np.maximum(before, -1)).astype(np.float32)[:, None, None])


def size_of(difference: np.ndarray) -> np.ndarray:
    """Root mean square over the channels, (...).

    Parameters
    ----------
    difference : (..., 3) float32, codes
    """
    flat = np.ascontiguousarray(difference).reshape(1, -1, 3)
    squares = cv2.transform(cv2.multiply(flat, flat), np.full((1, 3), 1 / 3, np.float32))
    return np.asarray(cv2.sqrt(squares)).reshape(difference.shape[:-1])


def _best_line(
    across: Across, lengths: Floats, within: tuple[Floats, Floats], limit: Floats, most: Floats | None
) -> np.ndarray:
    """Of all straight lines across the samples, the best one of each side: its sample at each place, (n, 4, t)."""
    gap = float((across.offsets[..., 1] - across.offsets[..., 0]).max())
    lines, allowed = straight_lines(across, lengths, within, 2 if gap < 0.75 else 1)
    beside = np.maximum(lines - max(round(_BESIDE / gap), 1), 0)
    # the mean of roots: one strong crossing does not win a line
    seen = np.square(means_along(np.sqrt(across.step), lines))
    if most is not None:
        seen = np.minimum(seen, most[:, None, None])
    inside = means_along(across.off, beside)
    score = seen - _PENALTY * np.maximum(inside - limit[..., None], 0)
    best = np.where(allowed, score, -np.inf).argmax(axis=2)
    return np.asarray(lines[best])


def straight_lines(
    across: Across, lengths: Floats, within: tuple[Floats, Floats], every: int = 1
) -> tuple[np.ndarray, np.ndarray]:
    """All straight lines across the samples: their sample at each place, (l, t), and which a side may take, (n, 4, l).

    Parameters
    ----------
    across : Across
    lengths : (n, 4), pixels, of the sides
    within : (n, 1) twice, pixels inwards and outwards
    every : int, > 0, only every so manieth sample begins or ends a line
    """
    gap = float((across.offsets[..., 1] - across.offsets[..., 0]).max())
    ends = np.arange(int(_MARGIN / gap), across.step.shape[3] - int(_MARGIN / gap), every)
    first, last = (grid.ravel() for grid in np.meshgrid(ends, ends, indexing="ij"))
    share = (across.along - _ENDS[0]) / (_ENDS[1] - _ENDS[0])
    lines = np.rint(first[:, None] + (last - first)[:, None] * share).astype(np.intp)
    begin, end = across.offsets[..., first], across.offsets[..., last]
    low, high = np.minimum(begin, end), np.maximum(begin, end)
    allowed = (low >= -within[0][..., None] - 0.75 * gap) & (high <= within[1][..., None] + 0.75 * gap)
    allowed &= high - low < 0.35 * lengths[..., None] + 2
    return lines, allowed


def means_along(values: np.ndarray, lines: np.ndarray) -> np.ndarray:
    """Mean along each line, (n, 4, l).

    Parameters
    ----------
    values : (n, 4, t, o), at each sample
    lines : (l, t), samples
    """
    count, four, rows, columns = values.shape
    chosen = np.zeros((rows * columns, len(lines)), np.float32)
    for row in range(rows):
        chosen[row * columns + lines[:, row], np.arange(len(lines))] = 1 / rows
    return np.asarray((values.reshape(count * four, -1) @ chosen).reshape(count, four, -1))


def sub_pixel(across: Across, line: np.ndarray) -> tuple[Floats, Floats]:
    """Shift and slope (n, 4) of the line through the peaks of the step near a line, with few strays (Cauchy).

    Parameters
    ----------
    across : Across
    line : (n, 4, t), its sample at each place
    """
    gap = (across.offsets[..., 1] - across.offsets[..., 0])[..., None]
    peak_reach = max(round(_PEAK / float(gap.max())), 2)
    near = np.clip(line[..., None] + np.arange(-peak_reach, peak_reach + 1), 3, across.step.shape[3] - 4)
    steps = np.take_along_axis(across.step, near, axis=3)
    at = steps.argmax(axis=3)
    clear = (at > 0) & (at < 2 * peak_reach)
    peak = np.take_along_axis(near, at[..., None], axis=3)
    before, top, after = (np.take_along_axis(across.step, peak + k, axis=3)[..., 0].astype(float) for k in (-1, 0, 1))
    spots = np.take_along_axis(across.offsets, peak[..., 0], axis=2) + gap * parabola(before, top, after)
    clear |= clear.sum(axis=2, keepdims=True) < 6
    along, weight = across.along, clear.astype(float)
    for _ in range(4):
        share = weight / np.maximum(weight.sum(axis=2, keepdims=True), 1e-9)
        middle, place = (share * along).sum(axis=2), (share * spots).sum(axis=2)
        beside = along - middle[..., None]
        slope = (share * beside * (spots - place[..., None])).sum(axis=2) / np.maximum(
            (share * beside**2).sum(axis=2), 1e-9
        )
        shift = place - slope * middle
        rest = np.abs(spots - shift[..., None] - slope[..., None] * along)
        spread = np.maximum(1.4826 * masked_median(rest, clear), 0.15)
        weight = clear / (1 + (rest / (1.5 * spread[..., None])) ** 2)
    return shift, slope


def masked_median(values: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """The upper median of the chosen values along the last axis, (...); 0 where none is chosen.

    Parameters
    ----------
    values : (..., t)
    chosen : (..., t) bool
    """
    ordered = np.sort(np.where(chosen, values, np.inf), axis=-1)
    count = chosen.sum(axis=-1, keepdims=True)
    middle = np.take_along_axis(ordered, np.minimum(count // 2, values.shape[-1] - 1), axis=-1)[..., 0]
    return np.asarray(np.where(count[..., 0] > 0, middle, 0.0))


def parabola(before: Floats, top: Floats, after: Floats) -> Floats:
    """Where the peak lies between samples: shift from the middle of three, in samples, at most half of one.

    Parameters
    ----------
    before, top, after : (n,), values at three neighbouring samples
    """
    bend = before - 2 * top + after
    shift = np.where(np.abs(bend) > 1e-9, 0.5 * (before - after) / np.where(np.abs(bend) > 1e-9, bend, 1), 0)
    return np.asarray(np.where(np.abs(shift) < 1, shift, 0))
