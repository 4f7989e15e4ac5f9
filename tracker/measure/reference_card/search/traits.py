"""What tells a card from anything else with four sides: measured on one refined outline."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.geometry import (
    area,
    aspect,
    corner_cosine,
    opposite_sides,
    outward,
    sides,
)
from tracker.measure.reference_card.search.light import Light, light_on, sample
from tracker.measure.reference_card.search.reduced import Reduced, median, roughly_linear

_REACH = 5.0  # pixels in and out of a side
_SPACING = 0.5
_INSIDE, _OUTSIDE = slice(2, 5), slice(-5, -2)  # samples 3 to 4 pixels from the side
_ON_LINE = 0.8  # pixels


@dataclass(frozen=True, slots=True, eq=False)
class Traits:
    """What was measured on an outline.

    Attributes
    ----------
    edge : float, share of the weakest side where the photo stops being the card on one straight line, 0..1
    seen : float, share of the weakest side where it stops being the card at all, 0..1
    ragged : float, pixels, scatter of those places about their line, the worst side
    step : float, codes, across the weakest side
    runs_on : float, how much of the sides' steps goes on beyond the corners, mean
    rim : (4,), codes by which what lies just inside each side differs from the middle
    uneven : float, codes, about the plane of light
    noise : float, codes, of the card itself
    grain : float, codes, of the photo
    brightest, darkest : float, mean code of its channels
    cast : float, ratio of the channels in linear light
    tint : float, the same, or against the mean of the photo where that is less
    opposite, cosine, aspect : float, of the outline; see `geometry`
    shortest : float, pixels, of the sides
    """

    edge: float
    seen: float
    ragged: float
    step: float
    runs_on: float
    rim: Floats
    uneven: float
    noise: float
    grain: float
    brightest: float
    darkest: float
    cast: float
    tint: float
    opposite: float
    cosine: float
    aspect: float
    shortest: float


@dataclass(frozen=True, slots=True)
class _Side:
    edge: float
    seen: float
    ragged: float
    step: float
    runs_on: tuple[float, float]


def traits_of(photo: Reduced, quad: Floats) -> Traits:
    """Measure an outline.

    Parameters
    ----------
    photo : Reduced
    quad : (4, 2), pixels, inside the photo
    """
    light = light_on(photo.smooth, quad, 0.86)
    found = [_side(photo, light, quad, k) for k in range(4)]
    level = light.plane[0]
    linear = roughly_linear(level)
    cast = float(linear.max() / linear.min())
    beside = linear / photo.tint
    ratio = aspect(quad)
    return Traits(
        edge=min(side.edge for side in found),
        seen=min(side.seen for side in found),
        ragged=max(side.ragged for side in found),
        step=min(side.step for side in found),
        runs_on=float(np.mean([side.runs_on for side in found])),
        rim=_rim(photo, quad),
        uneven=light.unevenness,
        noise=light.noise(photo.noise),
        grain=photo.noise,
        brightest=float(level.max()),
        darkest=float(level.min()),
        cast=cast,
        tint=min(cast, float(beside.max() / beside.min())),
        opposite=opposite_sides(quad),
        cosine=corner_cosine(quad),
        aspect=max(ratio, 1 / ratio),
        shortest=float(sides(quad)[1].min()),
    )


def _side(photo: Reduced, light: Light, quad: Floats, k: int) -> _Side:
    start, end = quad[k], quad[(k + 1) % 4]
    length = float(np.hypot(*(end - start)))
    normal = outward(start, end, quad.mean(axis=0))
    along = np.linspace(0.04, 0.96, int(np.clip(length / 2.5, 20, 60)))
    offsets = np.arange(-_REACH, _REACH + 0.01, _SPACING)
    x, y = ((start + along[:, None] * (end - start))[:, None, axis] + offsets * normal[axis] for axis in (0, 1))
    codes = sample(photo.smooth, x, y)
    across = median(codes[:, _OUTSIDE].mean(axis=1) - codes[:, _INSIDE].mean(axis=1), axis=0)
    step = float(np.linalg.norm(across) / np.sqrt(3))
    off = cv2.blur(np.sqrt(np.square(codes - light.at(x, y)).mean(axis=2)), (1, 3))
    seen, places = _first_departure(off, offsets, photo.noise)
    edge, ragged = _on_one_line(along[seen], places) if seen.sum() >= 8 else (0.0, _REACH)
    share = float(seen.mean())
    colour = across / max(float(np.linalg.norm(across)), 1e-6)
    beyond = _beyond(photo, (start, end), normal, colour)
    first, second = (min(abs(size) / max(step, 1e-6), 3.0) for size in beyond)
    return _Side(edge * share, share, ragged, step, (first, second))


def _first_departure(off: np.ndarray, offsets: Floats, noise: float) -> tuple[np.ndarray, Floats]:
    """Where the photo first stops being the card, from inside outwards: holds before a busy background too.

    Returns which rows show it, (t,) bool, and the places of those, pixels outwards.
    """
    outside = median(off[:, -6:-2], axis=1)
    limit = np.maximum(max(2.0 * noise, 1.6), 0.45 * np.minimum(outside, 60))
    over = off > limit[:, None]
    first = np.where(over.any(axis=1), over.argmax(axis=1), -1)
    seen = (first > 3) & (first < len(offsets) - 2)
    at, rows = first[seen], np.flatnonzero(seen)
    below, above = off[rows, at - 1], off[rows, at]
    share = (limit[seen] - below) / np.maximum(above - below, 1e-6)
    return seen, offsets[at - 1] + _SPACING * share


def _on_one_line(along: Floats, places: Floats) -> tuple[float, float]:
    """Share of places on a robust straight line, and their robust scatter about it, pixels."""
    keep = np.ones(len(places), bool)
    rest = places
    for _ in range(3):
        x, y = along[keep], places[keep]
        spread = np.square(x - x.mean()).sum()
        slope = float(((x - x.mean()) * (y - y.mean())).sum() / max(spread, 1e-9))
        rest = np.abs(places - y.mean() - slope * (along - x.mean()))
        keep = rest <= max(2.5 * 1.4826 * float(median(rest)), 0.3)
        if keep.sum() < 6:
            break
    return float(np.mean(rest < _ON_LINE)), float(1.4826 * median(rest))


def _beyond(photo: Reduced, side: tuple[Floats, Floats], normal: Floats, colour: Floats) -> tuple[float, float]:
    """Step in a side's own direction of colour where the side is drawn on beyond either corner, codes."""
    start, end = side
    length = float(np.hypot(*(end - start)))
    direction = (end - start) / length
    run = np.linspace(3, max(8, 0.22 * length), 10)[:, None]
    places = np.stack([end + run * direction, start - run * direction])
    (inner, outer) = (sample(photo.smooth, *np.moveaxis(places + away * normal, -1, 0)) for away in (-3, 3))
    both = median((outer - inner) @ colour / np.sqrt(3), axis=1)
    return float(both[0]), float(both[1])


def _rim(photo: Reduced, quad: Floats) -> Floats:
    """Codes by which strips just inside each side differ from the plane of the middle; the second worst depth."""
    core = light_on(photo.smooth, quad, 0.62)
    _, lengths = sides(quad)
    centre = quad.mean(axis=0)
    along = np.linspace(0.1, 0.9, 24)[:, None]
    rim = np.zeros(4)
    for k in range(4):
        start, end = quad[k], quad[(k + 1) % 4]
        across = min(lengths[(k + 1) % 4], lengths[k - 1])
        depths = np.array([3.0, max(4.0, 0.04 * across), max(5.0, 0.08 * across), max(6.0, 0.13 * across)])
        strip = (start + along * (end - start)) - depths[:, None, None] * outward(start, end, centre)
        x, y = strip[..., 0], strip[..., 1]
        off = np.abs(median(sample(photo.smooth, x, y) - core.at(x, y), axis=1)).max(axis=1)
        rim[k] = np.sort(off)[-2]
    return rim


def inside_photo(photo: Reduced, quad: Floats, smallest: float, largest: float) -> bool:
    """True for an outline that lies wholly in the photo and covers a share of it within the limits.

    Parameters
    ----------
    photo : Reduced
    quad : (4, 2), pixels
    smallest, largest : float, share of the photo, 0..1
    """
    width, height = photo.size
    within = np.all(quad >= 0.5) and np.all(quad <= [width - 1.5, height - 1.5])
    return bool(within and smallest <= area(quad) / (width * height) <= largest)
