"""Places where a card may lie: regions without an edge inside, with four straight sides."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.geometry import apart, area, card_shaped, clockwise, corners_of

# blur in pixels, and gradients below which a region counts as even, in codes a pixel: a card's weakest side may have a
# step of 4 codes, so a wide blur goes with a small limit
_LADDER = (
    (1.2, 1, (0.5, 0.8, 1.3, 2.1, 3.4, 5.5)),
    (2.5, 2, (0.16, 0.25, 0.4, 0.63, 1.0, 1.6, 2.5)),
    (4.5, 4, (0.08, 0.13, 0.2, 0.32, 0.5, 0.8)),
)
SMALLEST, LARGEST = 0.0012, 0.6
"""Share of the photo that a card covers."""
_SOLID = 0.72  # of its hull
_FILLS = 0.78  # hull over the quadrilateral round it
_SAME = 0.03  # of the size


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """One candidate outline.

    Attributes
    ----------
    quad : (4, 2), pixels
    blur : float, pixels, of the gradient that found it: how far off its sides may be
    """

    quad: Floats
    blur: float


def places(codes: np.ndarray, longest: float, smallest: float) -> list[Place]:
    """All candidates in a photo at search size, largest first, each once.

    Parameters
    ----------
    codes : (h, w, 3) float32, 0..255
    longest : float, largest ratio of the sides
    smallest : float, share of the photo
    """
    found = []
    for blur, step, limits in _LADDER:
        slopes = gradient(codes, blur, step)
        for limit in limits:
            quads = _even_quads((slopes < limit).astype(np.uint8), step, smallest)
            found += [Place(quad, blur) for quad in quads if card_shaped(quad, 0.1, longest)]
    return _distinct(found)


def gradient(codes: np.ndarray, blur: float, step: int) -> np.ndarray:
    """Root mean square over the channels of the blurred gradient, codes a pixel, at a `step`-th of the size.

    Parameters
    ----------
    codes : (h, w, 3) float32, 0..255
    blur : float, pixels
    step : int, > 0, by how much the photo is made smaller first
    """
    if step > 1:
        codes = cv2.resize(codes, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
    smooth = cv2.GaussianBlur(codes, (0, 0), blur / step)
    squares = np.zeros(smooth.shape[:2], np.float32)
    for across, down in ((1, 0), (0, 1)):
        change = cv2.Sobel(smooth, cv2.CV_32F, across, down, ksize=1, scale=0.5 / step)
        for channel in cv2.split(cv2.multiply(change, change)):
            squares += channel
    return np.sqrt(squares / 3)


def _even_quads(even: np.ndarray, step: int, smallest: float) -> list[Floats]:
    """Quadrilaterals of the even regions off the frame, pixels of the full search size."""
    height, width = even.shape
    _, labels, stats, _ = cv2.connectedComponentsWithStats(even, connectivity=4)
    left, top, wide, high, count = stats.T
    whole = height * width
    fits = (0.35 * smallest * whole <= count) & (count <= LARGEST * whole) & (count >= 0.3 * wide * high)
    fits &= (np.minimum(wide, high) >= 6) & (left > 0) & (top > 0) & (left + wide < width) & (top + high < height)
    fits[0] = False  # what is not even
    found: list[Floats] = []
    for label in np.flatnonzero(fits):
        x, y, w, h = (int(n) for n in stats[label, :4])
        region = (labels[y : y + h, x : x + w] == label).astype(np.uint8)
        found += [(quad + [x, y] + 0.5) * step - 0.5 for quad in _quads_round(region)]
    return found


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
    along = np.array([b - a for a, b in pairwise([*points, points[0]])])
    lengths = np.hypot(along[:, 0], along[:, 1])
    longest = np.sort(np.argsort(-lengths)[:4])
    return corners_of([(points[k], along[k] / lengths[k]) for k in longest])


def _distinct(found: list[Place]) -> list[Place]:
    kept: list[Place] = []
    corners = np.empty((len(found), 4, 2))
    for place in sorted(found, key=lambda place: -area(place.quad)):
        limit = _SAME * np.sqrt(area(place.quad)) + 1.0
        if not kept or apart(place.quad, corners[: len(kept)]).min() >= limit:
            corners[len(kept)] = place.quad
            kept.append(place)
    return kept
