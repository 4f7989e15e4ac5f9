"""A chart of many patches: its small even squares lie on a lattice, and their colours say which way up it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reading import Point
from tracker.measure.reference_card.search.candidates import gradient
from tracker.measure.reference_card.search.found import ASK, FOUND, NONE, FoundCard, Reason
from tracker.measure.reference_card.search.geometry import card_shaped, contains
from tracker.measure.reference_card.search.reduced import Reduced, reduce

_LIMITS = (1.3, 2.6, 5.0)  # codes a pixel: below it a patch is even
_BLUR = 0.7  # pixels: gaps between patches are a few pixels wide
_PATCH = (25, 0.008)  # pixels, and share of the photo, that an even patch covers
_SQUARE = (2.0, 0.72)  # longer over shorter side, and share of its box
_ALIKE = 2.4  # ratio of the areas of two neighbours
_NEAR = 0.28  # of the spacing: how far a patch may lie from its place
_FEWEST = 9  # patches on one lattice
_SURE_PATCHES = 14
_SURE, _MAYBE = 0.9, 0.85  # likeness to the chart's own colours


@dataclass(frozen=True, slots=True, eq=False)
class _Patches:
    places: Floats  # (n, 2), pixels
    areas: Floats  # (n,)


@dataclass(frozen=True, slots=True, eq=False)
class _Chart:
    quad: Floats
    likeness: float
    patches: int


def find_chart(encoded: np.ndarray | Reduced, near: Point | None = None, *, reference: Floats) -> FoundCard:
    """The one chart in a photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright; or its search copy, which several searches then share
    near : (x, y) or None, pixels, a point inside the chart as a person tapped it
    reference : (rows, columns, 3), linear values of its patches from its own top left

    Returns
    -------
    FoundCard : corners clockwise from the chart's own top left; the score is its likeness, 0..1
    """
    photo = reduce(encoded)
    charts = list(_charts(photo, reference))
    if near is not None:
        tapped = photo.from_photo(np.array(near))
        charts = [chart for chart in charts if contains(chart.quad, tapped)]
    best = max(charts, key=lambda chart: (chart.likeness > _SURE, chart.patches, chart.likeness), default=None)
    if best is None or best.likeness < _MAYBE:
        return FoundCard(NONE, None, 0.0 if best is None else best.likeness, "nothing")
    reason: Reason = "faint" if near is None and (best.likeness < _SURE or best.patches < _SURE_PATCHES) else ""
    return FoundCard(ASK if reason else FOUND, photo.corners_of(best.quad), best.likeness, reason)


def _charts(photo: Reduced, reference: Floats) -> Iterator[_Chart]:
    patches = _even_patches(photo)
    used = np.zeros(len(patches.places), bool)
    for seed in np.argsort(-patches.areas):
        if used[seed]:
            continue
        lattice = _lattice(patches, int(seed), max(reference.shape[:2]))
        used[list(lattice)] = True
        if len(lattice) >= _FEWEST:
            chart = _placed(photo, patches, lattice, reference)
            if chart is not None:
                yield chart


def _even_patches(photo: Reduced) -> _Patches:
    """Small even squares of the photo, each once."""
    slopes = gradient(photo.codes, _BLUR, 1)
    most = _PATCH[1] * slopes.size
    places: list[Floats] = []
    areas: list[Floats] = []
    for limit in _LIMITS:
        even = (slopes < limit).astype(np.uint8)
        _, _, stats, middles = cv2.connectedComponentsWithStats(even, connectivity=4)
        wide, high, count = stats[:, 2], stats[:, 3], stats[:, 4]
        fits = (count >= _PATCH[0]) & (count <= most) & (count >= 0.45 * wide * high)
        fits &= np.maximum(wide, high) <= _SQUARE[0] * np.minimum(wide, high)
        fits[0] = False
        places.append(middles[fits])
        areas.append(count[fits].astype(float))
    return _distinct(np.concatenate(places), np.concatenate(areas))


def _distinct(places: Floats, areas: Floats) -> _Patches:
    """Larger ones first; none whose middle lies in the core of a larger one."""
    order = np.argsort(-areas)
    places, areas = places[order], areas[order]
    kept: list[int] = []
    for k, place in enumerate(places):
        if not kept or (np.abs(places[kept] - place).max(axis=1) > 0.4 * np.sqrt(areas[kept])).all():
            kept.append(k)
    return _Patches(places[kept], areas[kept])


def _lattice(patches: _Patches, seed: int, longest: int) -> dict[int, tuple[int, int]]:
    """Patches that lie on one lattice with the seed, and their columns and rows on it."""
    steps = _spacing(patches, seed)
    if steps is None:
        return {seed: (0, 0)}
    known = {seed: (0, 0)}
    local = {seed: steps}
    queue = [seed]
    while queue:
        here = queue.pop(0)
        for axis, sign in ((0, 1), (0, -1), (1, 1), (1, -1)):
            step = sign * local[here][axis]
            there = _nearest(patches, patches.places[here] + step, float(np.hypot(*step)), patches.areas[here])
            place = known[here][0] + (sign if axis == 0 else 0), known[here][1] + (sign if axis == 1 else 0)
            if there is None or there in known or place in known.values() or max(map(abs, place)) >= longest:
                continue
            moved = sign * (patches.places[there] - patches.places[here])
            steps = local[here].copy()
            steps[axis] = (steps[axis] + moved) / 2
            known[there], local[there] = place, steps
            queue.append(there)
    return known


def _spacing(patches: _Patches, seed: int) -> Floats | None:
    """Steps from a patch to its neighbours along and across, (2, 2), pixels; None where it has no such neighbours."""
    away = patches.places - patches.places[seed]
    distance = np.hypot(away[:, 0], away[:, 1])
    ratio = patches.areas / patches.areas[seed]
    beside = (distance > 0) & (distance < 2.2 * np.sqrt(patches.areas[seed]) + 6)
    beside &= (ratio < _ALIKE) & (ratio > 1 / _ALIKE)
    order = np.flatnonzero(beside)[np.argsort(distance[beside])]
    if not len(order):
        return None
    first = away[order[0]]
    for other in order[1:]:
        second = away[other]
        cosine = abs(first @ second) / (distance[order[0]] * distance[other])
        if cosine < 0.35 and distance[other] < 1.8 * distance[order[0]]:
            turn = first[0] * second[1] - first[1] * second[0]
            return np.stack([first, second if turn > 0 else -second])
    return None


def _nearest(patches: _Patches, place: Floats, spacing: float, area: float) -> int | None:
    away = np.hypot(*(patches.places - place).T)
    nearest = int(np.argmin(away))
    alike = 1 / _ALIKE < patches.areas[nearest] / area < _ALIKE
    return nearest if alike and away[nearest] < _NEAR * spacing else None


def _placed(photo: Reduced, patches: _Patches, lattice: dict[int, tuple[int, int]], reference: Floats) -> _Chart | None:
    """The chart over a lattice where its colours fit best; None where none fits or it leaves the photo."""
    cells = np.array(list(lattice.values()), float)
    pixels = patches.places[list(lattice)]
    plane, kept = cv2.findHomography(cells + 0.5, pixels, cv2.RANSAC, 0.15 * _pitch(cells, pixels))
    if plane is None or kept.sum() < _FEWEST:
        return None
    cells, pixels = cells[kept.ravel() > 0], pixels[kept.ravel() > 0]
    best: tuple[float, Floats, np.ndarray] | None = None
    for corners, centres in _turns(cells, reference.shape[:2]):
        within = np.all((cells >= corners.min(axis=0)) & (cells < corners.max(axis=0)), axis=1)
        if within.sum() < _FEWEST:
            continue
        there = cv2.perspectiveTransform(centres.reshape(1, -1, 2), plane)[0]
        likeness = _likeness(photo, there, reference.reshape(-1, 3))
        if best is None or likeness > best[0]:
            best = likeness, corners, within
    if best is None:
        return None
    likeness, corners, within = best
    plane, _ = cv2.findHomography(cells[within] + 0.5, pixels[within], 0)
    quad = cv2.perspectiveTransform(corners[None], plane)[0]
    if not card_shaped(quad, 0.1) or np.any(quad < -1) or np.any(quad > np.array(photo.size) + 1):
        return None
    return _Chart(quad, likeness, int(within.sum()))


def _pitch(cells: Floats, pixels: Floats) -> float:
    """Pixels a cell, roughly."""
    return float(np.sqrt(np.prod(np.ptp(pixels, axis=0)) / max(np.prod(np.ptp(cells, axis=0)), 1.0)))


def _turns(cells: Floats, shape: tuple[int, ...]) -> Iterator[tuple[Floats, Floats]]:
    """Every way in which the chart may lie over the cells: its corners and its patches' middles on the lattice."""
    rows, columns = shape
    v, u = np.mgrid[0:rows, 0:columns] + 0.5
    middles = np.stack([u.ravel(), v.ravel()], axis=-1)
    corners = np.array([(0, 0), (columns, 0), (columns, rows), (0, rows)], float)
    low, high = cells.min(axis=0), cells.max(axis=0) + 1
    for quarter in range(4):
        c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarter]
        turn = np.array([[c, s], [-s, c]], float)
        outline = corners @ turn
        base, size = -outline.min(axis=0), np.ptp(outline, axis=0)
        first, last = np.minimum(low, high - size), np.maximum(low, high - size)
        for x in np.arange(first[0], last[0] + 0.5):
            for y in np.arange(first[1], last[1] + 0.5):
                yield outline + base + [x, y], middles @ turn + base + [x, y]


def _likeness(photo: Reduced, places: Floats, reference: Floats) -> float:
    """Correlation of the patches' colours with the chart's own, each relative to the light of the neutral patches."""
    width, height = photo.size
    if np.any(places < 0) or np.any(places > [width - 1, height - 1]):
        return 0.0
    columns, rows = np.rint(places).astype(np.intp).T
    seen = np.cbrt((photo.smooth[rows, columns].astype(float) / 255) ** 2.2)
    wanted = np.cbrt(np.maximum(reference, 0))
    each = [float(np.corrcoef(seen[:, k], wanted[:, k])[0, 1]) for k in range(3)]
    # lightness agrees by chance sooner than colour does
    tints = [float(np.corrcoef(_tint(seen, k), _tint(wanted, k))[0, 1]) for k in (0, 1)]
    found = min(min(each), 0.15 + 0.85 * min(tints))
    return found if np.isfinite(found) else 0.0


def _tint(values: Floats, channel: int) -> Floats:
    """Red or blue against green, each relative to its mean over the patches."""
    relative = values / np.maximum(values.mean(axis=0), 1e-6)
    return np.asarray(relative[:, 2 * channel] - relative[:, 1])
