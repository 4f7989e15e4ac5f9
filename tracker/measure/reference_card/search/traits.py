"""What tells a card from anything else with four sides: measured on one refined outline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.geometry import (
    all_sides,
    area,
    aspect,
    corner_cosine,
    opposite_sides,
    outwards,
)
from tracker.measure.reference_card.search.light import Lights, lights_on, sample
from tracker.measure.reference_card.search.reduced import Reduced, median, roughly_linear
from tracker.measure.reference_card.search.sides import along_smoothed, masked_median, size_of

_REACH = 5.0  # pixels in and out of a side
_SPACING = 0.5
_INSIDE, _OUTSIDE = slice(2, 5), slice(-5, -2)  # samples 3 to 4 pixels from the side
_ON_LINE = 0.8  # pixels
_ROWS = 36  # places along a side
_STRIP = np.array([0.03, 0.07])  # of the card's size, outside a side
_LIKE = 0.05  # of the card's codes, by which what lies outside may differ and still look like it
_FEWEST = 8  # places for a line
_DEPTHS = ((3.0, 0.0), (4.0, 0.04), (5.0, 0.08), (6.0, 0.13))  # pixels, and share of the card, inside a side


@dataclass(frozen=True, slots=True, eq=False)
class Traits:
    """What was measured on an outline.

    Attributes
    ----------
    edge : float, share of the weakest side where the photo stops being the card on one straight line, of what is not
        covered, 0..1
    edges : float, the same, mean of the sides
    seen : float, share of the weakest side where it stops being the card at all, of what is not covered, 0..1
    covered : float, share of the most covered side where something else, such as a finger, lies inside it, 0..1
    goes_on : float, share of a strip outside a side that looks like the card, the worst side, 0..1
    blotches : float, codes, by which fifths of its width and height differ from the plane of light
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
    edges: float
    seen: float
    covered: float
    goes_on: float
    blotches: float
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


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    """The same of each side of n outlines, (n, 4)."""

    edge: Floats
    seen: Floats
    covered: Floats
    ragged: Floats
    step: Floats
    runs_on: Floats
    goes_on: Floats


def traits_of(photo: Reduced, quad: Floats) -> Traits:
    """Measure an outline.

    Parameters
    ----------
    photo : Reduced
    quad : (4, 2), pixels, inside the photo
    """
    return traits_of_all(photo, quad[None])[0]


def traits_of_all(photo: Reduced, quads: Floats) -> list[Traits]:
    """Measure outlines.

    Parameters
    ----------
    photo : Reduced
    quads : (n, 4, 2), pixels, inside the photo
    """
    if not len(quads):
        return []
    light = lights_on(photo.smooth, quads, 0.86)
    found = _sides(photo, light, quads)
    rims, uneven, noise = _rims(photo, quads), light.unevenness, light.noise(photo.noise)
    blotches, levels = light.blotches, light.plane[:, 0]
    linear = roughly_linear(levels)
    cast = linear.max(axis=1) / linear.min(axis=1)
    beside = linear / photo.tint
    tint = np.minimum(cast, beside.max(axis=1) / beside.min(axis=1))
    shortest = all_sides(quads)[1].min(axis=1)
    ratios = [aspect(quad) for quad in quads]
    return [
        Traits(
            edge=float(found.edge[k].min()),
            edges=float(found.edge[k].mean()),
            seen=float(found.seen[k].min()),
            covered=float(found.covered[k].max()),
            goes_on=float(found.goes_on[k].max()),
            blotches=float(blotches[k]),
            ragged=float(found.ragged[k].max()),
            step=float(found.step[k].min()),
            runs_on=float(found.runs_on[k].mean()),
            rim=rims[k],
            uneven=float(uneven[k]),
            noise=float(noise[k]),
            grain=photo.noise,
            brightest=float(levels[k].max()),
            darkest=float(levels[k].min()),
            cast=float(cast[k]),
            tint=float(tint[k]),
            opposite=opposite_sides(quad),
            cosine=corner_cosine(quad),
            aspect=max(ratios[k], 1 / ratios[k]),
            shortest=float(shortest[k]),
        )
        for k, quad in enumerate(quads)
    ]


def _sides(photo: Reduced, light: Lights, quads: Floats) -> _Sides:
    normals, following = outwards(quads)[:, :, None, None], quads[:, [1, 2, 3, 0]]
    along = np.linspace(0.04, 0.96, _ROWS)
    offsets = np.arange(-_REACH, _REACH + 0.01, _SPACING)
    places = quads[:, :, None] + along[:, None] * (following - quads)[:, :, None]
    spots = places[:, :, :, None] + offsets[:, None] * normals
    codes = along_smoothed(sample(photo.smooth, spots[..., 0], spots[..., 1]))
    across = median(codes[..., _OUTSIDE, :].mean(axis=3) - codes[..., _INSIDE, :].mean(axis=3), axis=2)
    length = np.linalg.norm(across, axis=2)
    step = length / np.sqrt(3)
    off = size_of(codes - light.at(spots[..., 0], spots[..., 1]))
    seen, covered, at = _first_departure(off, offsets, photo.noise)
    on_line, ragged = _on_one_line(along, at, seen)
    open_to_view = np.maximum((~covered).sum(axis=2), 0.3 * _ROWS)
    share = seen.sum(axis=2) / open_to_view
    colour = across / np.maximum(length, 1e-6)[..., None]
    beyond = _beyond(photo, quads, colour)
    runs_on = np.minimum(np.abs(beyond) / np.maximum(step, 1e-6)[..., None], 3.0).mean(axis=2)
    goes_on = _goes_on(photo, light, places, normals[:, :, 0])
    return _Sides(on_line * share, share, covered.mean(axis=2), ragged, step, runs_on, goes_on)


def _first_departure(off: np.ndarray, offsets: Floats, noise: float) -> tuple[np.ndarray, np.ndarray, Floats]:
    """Where the photo first stops being the card, from inside outwards: holds before a busy background too.

    Returns which places along the sides show it and at which something covers the card, (n, 4, t) bool, and how far
    outwards it is, pixels.
    """
    outside = median(off[..., -6:-2], axis=3)
    limit = np.maximum(max(2.0 * noise, 1.6), 0.45 * np.minimum(outside, 60))[..., None]
    over = off > limit
    first = np.where(over.any(axis=3), over.argmax(axis=3), -1)
    seen = (first > 3) & (first < len(offsets) - 2)
    at = np.where(seen, first, 1)
    below, above = (np.take_along_axis(off, (at + k)[..., None], axis=3) for k in (-1, 0))
    share = (limit - below) / np.maximum(above - below, 1e-6)
    return seen, (first >= 0) & (first <= 3), np.asarray(offsets[at - 1] + _SPACING * share[..., 0], float)


def _on_one_line(along: Floats, places: Floats, seen: np.ndarray) -> tuple[Floats, Floats]:
    """Share of the seen places on a robust straight line, and their robust scatter about it, pixels, (n, 4)."""
    keep, spread = seen.copy(), np.zeros(seen.shape[:2])
    rest = np.zeros(seen.shape)
    places = np.where(seen, places, 0.0)
    for _ in range(3):
        count = np.maximum(keep.sum(axis=2), 1)[..., None]
        middle, height = ((keep * values).sum(axis=2, keepdims=True) / count for values in (along, places))
        beside = keep * (along - middle)
        slope = (beside * places).sum(axis=2) / np.maximum(np.square(beside).sum(axis=2), 1e-9)
        rest = np.abs(places - height - slope[..., None] * (along - middle))
        spread = 1.4826 * masked_median(rest, seen)
        closer = seen & (rest <= np.maximum(2.5 * spread, 0.3)[..., None])
        keep = np.where(closer.sum(axis=2, keepdims=True) >= _FEWEST, closer, keep)
    many = seen.sum(axis=2)
    on_line = (seen & (rest < _ON_LINE)).sum(axis=2) / np.maximum(many, 1)
    enough = many >= _FEWEST
    return np.where(enough, on_line, 0.0), np.where(enough, spread, _REACH)


def _goes_on(photo: Reduced, light: Lights, places: Floats, normals: Floats) -> Floats:
    """Share of a strip outside each side that looks like the card, (n, 4): a side along fingertips has card beyond."""
    away = light.size[:, None] * _STRIP + _REACH
    spots = places[:, :, None] + away[:, None, :, None, None] * normals[:, :, :, None]
    x, y = spots[..., 0], spots[..., 1]
    off = size_of(sample(photo.smooth, x, y) - light.at(x, y))
    width, height = photo.size
    within = (x > 0) & (y > 0) & (x < width - 1) & (y < height - 1)
    like = (off < np.maximum(3 * photo.noise, _LIKE * light.plane[:, 0].mean(axis=1))[:, None, None, None]) & within
    return np.asarray(like.mean(axis=3).min(axis=2))


def _beyond(photo: Reduced, quads: Floats, colour: Floats) -> Floats:
    """Step in a side's own direction of colour where the side is drawn on beyond either corner, codes, (n, 4, 2)."""
    along, lengths = all_sides(quads)
    unit, normals, following = along / lengths[..., None], outwards(quads), quads[:, [1, 2, 3, 0]]
    share = np.linspace(0, 1, 10)
    run = 3 + share * (np.maximum(8, 0.22 * lengths)[..., None] - 3)
    away = run[..., None] * unit[:, :, None]
    places = np.stack([following[:, :, None] + away, quads[:, :, None] - away], axis=2)
    inner, outer = (
        sample(photo.smooth, *np.moveaxis(places + shift * normals[:, :, None, None], -1, 0)) for shift in (-3, 3)
    )
    return median(((outer - inner) * colour[:, :, None, None]).sum(axis=4) / np.sqrt(3), axis=3)


def _rims(photo: Reduced, quads: Floats) -> Floats:
    """Codes by which strips just inside each side differ from the plane of the middle; the second worst depth."""
    core = lights_on(photo.smooth, quads, 0.62)
    lengths = all_sides(quads)[1]
    across = np.minimum(lengths[:, [1, 2, 3, 0]], lengths[:, [3, 0, 1, 2]])
    depths = np.stack([np.maximum(least, share * across) for least, share in _DEPTHS], axis=2)
    along, normals, following = np.linspace(0.1, 0.9, 24)[:, None], outwards(quads), quads[:, [1, 2, 3, 0]]
    places = quads[:, :, None] + along * (following - quads)[:, :, None]
    strips = places[:, :, None] - depths[..., None, None] * normals[:, :, None, None]
    x, y = strips[..., 0], strips[..., 1]
    off = np.abs(median(sample(photo.smooth, x, y) - core.at(x, y), axis=3)).max(axis=3)
    return np.sort(off, axis=2)[..., -2].astype(float)


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
