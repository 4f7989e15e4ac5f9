"""Places where a card may lie: regions without an edge inside, with four straight sides."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.geometry import (
    area,
    areas,
    clockwise,
    corners_of,
    each_once,
    which_card_shaped,
)

# blur in pixels, by how much the photo is made smaller, and gradients below which a region counts as even, in codes a
# pixel: a card's weakest side may have a step of 4 codes, so a wide blur goes with a small limit
_LADDER = (
    (1.2, 2, (0.5, 0.8, 1.3, 2.1, 3.4, 5.5)),
    (2.5, 4, (0.16, 0.25, 0.4, 0.63, 1.0, 1.6, 2.5)),
    (4.5, 8, (0.08, 0.13, 0.2, 0.32, 0.5, 0.8)),
)
SMALLEST, LARGEST = 0.0012, 0.6
"""Share of the photo that a card covers."""
_SOLID = 0.72  # of its hull
_FILLS = 0.78  # hull over the quadrilateral round it
_SAME = 0.03  # of the size
_THINNEST = 10.0  # pixels of a region
_MEAN = np.full((1, 3), 1 / 3, np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Candidate outlines.

    Attributes
    ----------
    quads : (n, 4, 2), pixels
    blurs : (n,), pixels, of the gradient that found each: how far off its sides may be
    """

    quads: Floats
    blurs: Floats


def places(codes: np.ndarray, longest: float, smallest: float) -> Places:
    """All candidates in a photo at search size, largest first, each once.

    Parameters
    ----------
    codes : (h, w, 3) float32, 0..255
    longest : float, largest ratio of the sides
    smallest : float, share of the photo
    """
    found: list[Floats] = []
    blurs: list[float] = []
    halves = codes
    for blur, step, limits in _LADDER:
        known = np.empty((0, 4))
        halves = cv2.resize(halves, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        slopes = gradient(halves, blur, step)
        for limit in limits:
            quads_here, known = _even_quads(cv2.compare(slopes, limit, cv2.CMP_LT), step, smallest, known)
            found += quads_here
            blurs += [blur] * (len(found) - len(blurs))
    quads = np.array(found).reshape(-1, 4, 2)
    shaped = which_card_shaped(quads, 0.1, longest)
    return _distinct(quads[shaped], np.array(blurs)[shaped])


def gradient(codes: np.ndarray, blur: float, step: int) -> np.ndarray:
    """Root mean square over the channels of the blurred gradient, codes a pixel of the search size.

    Parameters
    ----------
    codes : (h, w, 3) float32, at a `step`-th of the search size
    blur : float, pixels of the search size
    step : int, > 0
    """
    smooth = cv2.GaussianBlur(codes, (0, 0), blur / step)
    squares = 0.0
    for across, down in ((1, 0), (0, 1)):
        change = cv2.Sobel(smooth, cv2.CV_32F, across, down, ksize=1, scale=0.5 / step)
        squares = squares + cv2.transform(cv2.multiply(change, change), _MEAN)
    return np.asarray(cv2.sqrt(squares))


def _even_quads(even: np.ndarray, step: int, smallest: float, known: np.ndarray) -> tuple[list[Floats], np.ndarray]:
    """Quadrilaterals of the even regions off the frame, pixels of the full search size, and the boxes of the regions.

    Regions with the box of a known one are left out: a sharp edge gives the same region at many limits.
    """
    height, width = even.shape
    _, labels, stats, _ = cv2.connectedComponentsWithStats(even, connectivity=4)
    left, top, wide, high, count = stats.T
    whole = height * width
    fits = (0.35 * smallest * whole <= count) & (count <= LARGEST * whole) & (count >= 0.3 * wide * high)
    fits &= np.minimum(wide, high) >= _THINNEST / step
    fits &= (left > 0) & (top > 0) & (left + wide < width) & (top + high < height)
    fits[0] = False  # what is not even
    boxes = np.stack([left, top, left + wide, top + high], axis=1)
    labels_here = np.flatnonzero(fits)
    if len(known):
        labels_here = labels_here[(np.abs(boxes[labels_here][:, None] - known).max(axis=2) > 0).all(axis=1)]
    found: list[Floats] = []
    for label in labels_here:
        x, y, w, h = stats[label, :4].tolist()
        region = cv2.inRange(labels[y : y + h, x : x + w], int(label), int(label))
        found += [(quad + [x, y] + 0.5) * step - 0.5 for quad in _quads_round(region)]
    return found, np.concatenate([known, boxes[labels_here]])


def _quads_round(region: np.ndarray) -> list[Floats]:
    """The quadrilaterals that may be the outline of a region: the tightest, and that of its longest straight sides."""
    contours, _ = cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    if len(contour) < 8:
        return []
    hull = cv2.convexHull(contour)
    covered = cv2.contourArea(hull)
    if covered <= 0 or cv2.contourArea(contour) < _SOLID * covered:
        return []
    try:
        outlines = [np.asarray(cv2.approxPolyN(hull, 4, None, -1.0, True), float).reshape(-1, 2)]
    except cv2.error:  # a hull of too few points
        return []
    longest = _longest_sides(hull)
    if longest is not None:
        outlines.append(longest)
    quads = [clockwise(outline) for outline in outlines if len(outline) == 4]
    return [quad for quad in quads if covered >= _FILLS * area(quad) > 0]


def _longest_sides(hull: np.ndarray) -> Floats | None:
    """The four longest sides of a hull, made to meet: a corner behind a finger comes back."""
    tolerance = 0.012 * cv2.arcLength(hull, True)
    points = cv2.approxPolyDP(hull, tolerance, True).reshape(-1, 2).astype(float)
    if not 5 <= len(points) <= 14:
        return None
    along = np.concatenate([points[1:], points[:1]]) - points
    lengths = np.hypot(along[:, 0], along[:, 1])
    longest = np.sort(np.argsort(-lengths)[:4])
    return corners_of([(points[k], along[k] / lengths[k]) for k in longest])


def _distinct(quads: Floats, blurs: Floats) -> Places:
    sizes = areas(quads)
    order = np.argsort(-sizes, kind="stable")
    kept = each_once(quads[order], _SAME * np.sqrt(sizes[order]) + 1.0)
    return Places(quads[order][kept], blurs[order][kept])
