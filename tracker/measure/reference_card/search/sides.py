"""Straight sides of a card to a fraction of a pixel, from the step along each of them."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.geometry import (
    Line,
    area,
    card_shaped,
    corners_of,
    outward,
    sides,
)
from tracker.measure.reference_card.search.light import Light, light_on, sample
from tracker.measure.reference_card.search.reduced import Reduced, median

_SPACING = 0.5  # pixels between samples across a side
_MARGIN = 5.0  # pixels sampled beyond the reach
_BESIDE = 5  # samples: 2.5 pixels inside a side the photo must still be the card
_PENALTY = 1.5
_SHADE = 0.02  # of the card's codes, by which a rim may be shaded more than the plane of light says
_PEAK = 4  # samples on both sides of a line where the step may lie
_ENDS = (0.05, 0.95)  # of a side; corners are rounded
_STRONG = 4.0  # times the median: one strong crossing does not win a line
_MOST_UNEVEN = 6.0  # codes about the plane of light: no card, and not worth the search
_CORE = 0.75  # of a card's width and height, free of its rim


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
    rounds = [reach] if reach else reaches(blur)
    for inwards, outwards in rounds:
        light = light_on(photo.smooth, quad, _CORE)
        if light.unevenness > max(_MOST_UNEVEN, 2.5 * photo.noise):
            return None
        noise = light.noise(photo.noise)
        shortest = sides(quad)[1].min()
        within = min(inwards, 0.1 * shortest), min(outwards, 0.3 * shortest + 2)
        centre = quad.mean(axis=0)
        lines = [_side(photo.smooth, light, quad[k], quad[(k + 1) % 4], centre, within, noise) for k in range(4)]
        moved = corners_of(lines)
        if moved is None or not card_shaped(moved, 0.15, longest) or _far_outside(photo, moved):
            return None
        quad = moved
    return quad


def reaches(blur: float) -> list[tuple[float, float]]:
    """Pixels inwards and outwards of the two rounds for an outline found with a blur, pixels.

    Parameters
    ----------
    blur : float, pixels
    """
    return [(2.0, 4.0 * blur + 3), (3.0, 3.0 + 0.6 * blur)]


def _far_outside(photo: Reduced, quad: Floats) -> bool:
    slack = 0.02 * max(photo.size)
    return bool(np.any(quad < -slack) or np.any(quad > np.array(photo.size) + slack))


def look_inside(photo: Reduced, quad: Floats, rim: Floats, longest: float = 2.2) -> Floats | None:
    """The outline with each doubtful side moved inwards to the first edge of the even middle; None where none is.

    Parameters
    ----------
    photo : Reduced
    quad : (4, 2), pixels
    rim : (4,), codes by which each side's rim differs from the middle
    longest : float, largest ratio of the sides
    """
    light = light_on(photo.smooth, quad, 0.55)
    noise = light.noise(photo.noise)
    along, lengths = sides(quad)
    centre = quad.mean(axis=0)
    lines: list[Line] = []
    for k in range(4):
        start, end = quad[k], quad[(k + 1) % 4]
        if rim[k] > rim_limit(noise):
            reach = 0.24 * min(lengths[(k + 1) % 4], lengths[k - 1]), 1.0
            lines.append(_side(photo.smooth, light, start, end, centre, reach, noise, most=5 * noise))
        else:
            lines.append((start, along[k] / lengths[k]))
    inner = corners_of(lines)
    if inner is None or not card_shaped(inner, 0.15, longest) or area(inner) < 0.5 * area(quad):
        return None
    return refine(photo, inner, 1.0, (2.0, 2.0), longest)


def rim_limit(noise: float) -> float:
    """Codes above which what lies inside a side is not the card any more.

    Parameters
    ----------
    noise : float, codes
    """
    return 1.2 * noise + 0.8


def _side(
    picture: np.ndarray,
    light: Light,
    start: Floats,
    end: Floats,
    centre: Floats,
    reach: tuple[float, float],
    noise: float,
    most: float | None = None,
) -> Line:
    """The straight line near a side with the steepest step whose inner edge still is the card.

    `most` caps the step, so that the card's own edge wins over a stronger one further out.
    """
    length = float(np.hypot(*(end - start)))
    normal = outward(start, end, centre)
    along = np.linspace(*_ENDS, int(np.clip(length / 3, 16, 48)))
    offsets = np.arange(-reach[0] - _MARGIN, reach[1] + _MARGIN + _SPACING, _SPACING)
    x, y = ((start + along[:, None] * (end - start))[:, None, axis] + offsets * normal[axis] for axis in (0, 1))
    codes = sample(picture, x, y)
    off = cv2.blur(_size(codes - light.at(x, y)), (1, 3))
    step = np.zeros_like(off)
    step[:, 2:-2] = _size(codes[:, 4:] - codes[:, :-4])
    step = cv2.blur(step, (1, 3))
    line = _best_line(step, off, along, length, noise, _SHADE * float(light.plane[0].mean()), most)
    shift, slope = _sub_pixel(step, line, along, offsets)
    first, last = start + shift * normal, end + (shift + slope) * normal
    return first, (last - first) / np.hypot(*(last - first))


def _size(difference: np.ndarray) -> np.ndarray:
    """Root mean square over the channels."""
    red, green, blue = (difference[..., k] for k in range(3))
    return np.asarray(np.sqrt((red * red + green * green + blue * blue) / 3))


def _best_line(
    step: np.ndarray, off: np.ndarray, along: Floats, length: float, noise: float, shade: float, most: float | None
) -> np.ndarray:
    """Of all straight lines across the samples (t, o), the best one: its sample in each row, (t,)."""
    rows, columns = step.shape
    margin = int(_MARGIN / _SPACING)
    ends = np.arange(margin, columns - margin, 2)
    first, last = (grid.ravel() for grid in np.meshgrid(ends, ends, indexing="ij"))
    flat = np.abs(first - last) * _SPACING < 0.35 * length + 2
    first, last = first[flat], last[flat]
    share = (along - _ENDS[0]) / (_ENDS[1] - _ENDS[0])
    lines = np.rint(first[:, None] + (last - first)[:, None] * share).astype(np.intp)
    row = np.arange(rows)
    steps = step[row, lines]
    seen = np.minimum(steps, _STRONG * median(steps, axis=1)[:, None] + 1e-6).mean(axis=1)
    if most is not None:
        seen = np.minimum(seen, most)
    inside = off[row, np.maximum(lines - _BESIDE, 0)].mean(axis=1)
    score = seen - _PENALTY * np.maximum(inside - rim_limit(noise) - shade, 0)
    return np.asarray(lines[int(np.argmax(score))])


def _sub_pixel(step: np.ndarray, line: np.ndarray, along: Floats, offsets: Floats) -> tuple[float, float]:
    """Shift and slope of the line through the peaks of the step near a line, weighted against strays (Cauchy)."""
    rows = np.arange(len(line))
    near = np.clip(line[:, None] + np.arange(-_PEAK, _PEAK + 1), 3, step.shape[1] - 4)
    at = step[rows[:, None], near].argmax(axis=1)
    clear = (at > 0) & (at < 2 * _PEAK)
    peak = near[rows, at]
    before, top, after = (step[rows, peak + k].astype(float) for k in (-1, 0, 1))
    places = offsets[peak] + _SPACING * parabola(before, top, after)
    if clear.sum() < 6:
        clear[:] = True
    weight = clear.astype(float)
    shift = slope = 0.0
    for _ in range(4):
        share = weight / max(weight.sum(), 1e-9)
        middle, place = share @ along, share @ places
        slope = float(share @ ((along - middle) * (places - place)) / max(share @ (along - middle) ** 2, 1e-9))
        shift = float(place - slope * middle)
        rest = places - shift - slope * along
        spread = max(1.4826 * float(median(np.abs(rest[clear]))), 0.15)
        weight = clear / (1 + (rest / (1.5 * spread)) ** 2)
    return shift, slope


def parabola(before: Floats, top: Floats, after: Floats) -> Floats:
    """Where the peak lies between samples: shift from the middle of three, in samples, at most half of one.

    Parameters
    ----------
    before, top, after : (n,), values at three neighbouring samples
    """
    bend = before - 2 * top + after
    shift = np.where(np.abs(bend) > 1e-9, 0.5 * (before - after) / np.where(np.abs(bend) > 1e-9, bend, 1), 0)
    return np.asarray(np.where(np.abs(shift) < 1, shift, 0))
