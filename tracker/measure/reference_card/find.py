"""Finds a plain grey card in the open: an even, nearly neutral quadrilateral with an edge all round.

Where two things fit, it says so instead of guessing.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tracker.errors import CardAmbiguous, CardNotFound
from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.kind import Corners

_WORK_EDGE = 1000  # pixels of the longer side while searching
_FLATNESS = (3.0, 5.0, 8.0, 12.0)  # largest code step between neighbours that still counts as even
_AREA = (0.0012, 0.35)  # share of the photo
_ASPECT = 2.4  # longer over shorter side
_LARGEST_CAST = 5.0  # ratio between channels in linear light, as under bare tungsten
_CODES = (28.0, 225.0)  # mean code of a grey that is neither crushed nor burnt out
_CLEAR_STEP = 9.0  # codes between the card and what surrounds it
_NEXT_BEST = 0.80  # a second candidate this good makes the first a guess


@dataclass(frozen=True, slots=True, eq=False)
class _Candidate:
    corners: Floats  # (4, 2) in pixels of the search picture
    score: float


def find_card(encoded: np.ndarray) -> Corners:
    """Corners of the one plain grey card in a photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright

    Returns
    -------
    four points in pixels, clockwise from the corner nearest the photo's top left

    Raises
    ------
    CardNotFound, CardAmbiguous
    """
    picture, shrink = _search_picture(encoded)
    steps = _steps_between_neighbours(picture)
    found = _distinct([c for flatness in _FLATNESS for c in _candidates(picture, steps, flatness)])
    if not found:
        raise CardNotFound(
            "No grey card stands clear in the photo.",
            "Mark its four corners by hand, or take the photo again with the whole card in frame.",
        )
    best = found[0]
    if len(found) > 1 and found[1].score > _NEXT_BEST * best.score:
        alike = sum(c.score > _NEXT_BEST * best.score for c in found)
        raise CardAmbiguous(
            f"{alike} things in the photo look like the grey card.",
            "Mark the four corners of the card by hand.",
            value=float(alike),
            limit=1.0,
            unit="cards",
        )
    smooth = cv2.GaussianBlur(picture, (0, 0), 1.0).astype(np.float32)
    # twice: the better lines reach a corner that the outline cut off
    corners = (_refine(smooth, _refine(smooth, best.corners)) + 0.5) / shrink  # from pixel centres to pixel edges
    height, width = encoded.shape[:2]
    return _as_corners(np.clip(corners, 0, [width, height]))


def _search_picture(encoded: np.ndarray) -> tuple[np.ndarray, float]:
    """The photo as uint8 at search size, and search pixels per photo pixel."""
    height, width = encoded.shape[:2]
    shrink = min(1.0, _WORK_EDGE / max(height, width))
    small = encoded
    if shrink < 1:
        size = max(1, round(width * shrink)), max(1, round(height * shrink))
        small = cv2.resize(encoded, size, interpolation=cv2.INTER_AREA)
    if small.dtype == np.uint16:
        small = (small >> 8).astype(np.uint8)
    return np.ascontiguousarray(small), shrink


def _steps_between_neighbours(picture: np.ndarray) -> np.ndarray:
    """The largest code step around each pixel, of any channel; noise of single pixels does not count."""
    smooth = cv2.medianBlur(picture, 5)
    shape = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    red, green, blue = cv2.split(cv2.subtract(cv2.dilate(smooth, shape), cv2.erode(smooth, shape)))
    return np.asarray(cv2.max(cv2.max(red, green), blue))  # many times faster than NumPy along an axis of three


def _candidates(picture: np.ndarray, steps: np.ndarray, flatness: float) -> list[_Candidate]:
    """Even regions of the right shape at one threshold of evenness."""
    even = cv2.morphologyEx((steps <= flatness).astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    contours, _ = cv2.findContours(even, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)  # outlines and those of holes
    area = picture.shape[0] * picture.shape[1]
    found = []
    for contour in contours:
        if _AREA[0] * area <= cv2.contourArea(contour) <= _AREA[1] * area:
            candidate = _judge(picture, contour)
            if candidate is not None:
                found.append(candidate)
    return found


def _judge(picture: np.ndarray, contour: np.ndarray) -> _Candidate | None:
    """A candidate where the contour is a card-like quadrilateral, else None."""
    quad = _quadrilateral(contour)
    if quad is None:
        return None
    height, width = picture.shape[:2]
    if np.any(quad < 2) or np.any(quad > np.array([width, height]) - 2):
        return None
    fill = cv2.contourArea(contour) / max(cv2.contourArea(quad.astype(np.float32)), 1.0)
    if not 0.86 <= fill <= 1.12:
        return None
    inside = _inside(picture, quad, 0.8)
    uneven = float(inside.std(axis=0).max())
    mean = inside.mean(axis=0)
    if uneven > 12 or not _CODES[0] <= mean.max() or mean.max() > _CODES[1] or mean.min() < 3:
        return None
    linear = (mean / 255) ** 2.2  # close enough to judge a cast
    cast = float(linear.max() / linear.min())
    clear = _clear_sides(picture, quad, mean)
    if cast > _LARGEST_CAST or clear < 0.75:
        return None
    return _Candidate(quad, min(fill, 1 / fill) * clear * (1 - uneven / 40) / (1 + 0.15 * (cast - 1)))


def _quadrilateral(contour: np.ndarray) -> Floats | None:
    """Four corners of a convex, card-shaped outline, clockwise, or None."""
    hull = cv2.convexHull(contour)
    around = cv2.arcLength(hull, closed=True)
    for tolerance in (0.02, 0.03, 0.045, 0.06):
        outline = cv2.approxPolyDP(hull, tolerance * around, closed=True)
        if len(outline) == 4:
            quad = _clockwise(outline.reshape(4, 2).astype(float))
            return quad if _card_shaped(quad) else None
    return None


def _clockwise(points: Floats) -> Floats:
    """Clockwise on screen, from the corner nearest the top left."""
    centre = points.mean(axis=0)
    around = np.argsort(np.arctan2(points[:, 1] - centre[1], points[:, 0] - centre[0]))
    ordered = points[around]
    return np.asarray(np.roll(ordered, -int(np.argmin(ordered.sum(axis=1))), axis=0))


def _card_shaped(quad: Floats) -> bool:
    sides = np.roll(quad, -1, axis=0) - quad
    lengths = np.linalg.norm(sides, axis=1)
    if lengths.min() < 12:
        return False
    directions = sides / lengths[:, None]
    corners = np.abs(np.sum(directions * np.roll(directions, -1, axis=0), axis=1))
    opposite = (
        min(lengths[0], lengths[2]) / max(lengths[0], lengths[2]),
        min(lengths[1], lengths[3]) / max(lengths[1], lengths[3]),
    )
    aspect = (lengths[0] + lengths[2]) / (lengths[1] + lengths[3])
    return bool(corners.max() < 0.45 and min(opposite) > 0.65 and 1 / _ASPECT < aspect < _ASPECT)


def _inside(picture: np.ndarray, quad: Floats, share: float) -> Floats:
    """Pixels of the inner part of a quadrilateral, shape (n, 3)."""
    inner = np.rint(quad.mean(axis=0) + (quad - quad.mean(axis=0)) * share).astype(np.int32)
    left, top, width, height = cv2.boundingRect(inner)
    mask = np.zeros((height, width), np.uint8)
    cv2.fillConvexPoly(mask, inner - [left, top], 1)
    return np.asarray(picture[top : top + height, left : left + width][mask.astype(bool)], float)


def _clear_sides(picture: np.ndarray, quad: Floats, mean: Floats) -> float:
    """Share of the outline with a visible step to what lies outside."""
    centre = quad.mean(axis=0)
    size = float(np.sqrt(cv2.contourArea(quad.astype(np.float32))))
    t = np.linspace(0.1, 0.9, 15)[:, None]
    steps = []
    for start, end in zip(quad, np.roll(quad, -1, axis=0), strict=True):
        along = start + t * (end - start)
        normal = along - centre
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        outside = along + normal * max(4.0, 0.07 * size)
        column = np.clip(np.rint(outside[:, 0]), 0, picture.shape[1] - 1).astype(int)
        row = np.clip(np.rint(outside[:, 1]), 0, picture.shape[0] - 1).astype(int)
        steps.append(np.abs(picture[row, column].astype(float) - mean).max(axis=1) > _CLEAR_STEP)
    return float(np.mean(steps))


def _distinct(candidates: list[_Candidate]) -> list[_Candidate]:
    """Best first, without any that overlap a better one."""
    kept: list[_Candidate] = []
    for candidate in sorted(candidates, key=lambda c: -c.score):
        if all(_overlap(candidate.corners, other.corners) < 0.3 for other in kept):
            kept.append(candidate)
    return kept


def _overlap(first: Floats, second: Floats) -> float:
    """Shared area over the smaller area."""
    a, b = first.astype(np.float32), second.astype(np.float32)
    common, _ = cv2.intersectConvexConvex(a, b)
    return float(common / max(min(cv2.contourArea(a), cv2.contourArea(b)), 1.0))


def _refine(smooth: np.ndarray, quad: Floats) -> Floats:
    """Corners from straight lines fitted to the steepest step along each side."""
    lines = [_edge_line(smooth, a, b, quad.mean(axis=0)) for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True)]
    corners = []
    for index in range(4):
        (p, d), (q, e) = lines[index - 1], lines[index]
        matrix = np.stack([d, -e], axis=1)
        if abs(np.linalg.det(matrix)) < 0.2:
            return quad
        corners.append(p + d * np.linalg.solve(matrix, q - p)[0])
    refined = np.array(corners)
    moved = np.linalg.norm(refined - quad, axis=1).max()
    return refined if moved < 0.15 * np.sqrt(cv2.contourArea(quad.astype(np.float32))) else quad


def _edge_line(smooth: np.ndarray, start: Floats, end: Floats, centre: Floats) -> tuple[Floats, Floats]:
    """A point and a unit direction of the edge near one side."""
    direction = (end - start) / np.linalg.norm(end - start)
    normal = np.array([direction[1], -direction[0]])
    if normal @ ((start + end) / 2 - centre) < 0:
        normal = -normal
    reach = max(4.0, 0.08 * float(np.linalg.norm(end - start)))
    offsets = np.arange(-reach, reach + 0.25, 0.5)
    along = start + np.linspace(0.12, 0.88, 25)[:, None] * (end - start)
    places = along[:, None] + offsets[None, :, None] * normal
    x = np.clip(places[..., 0], 0, smooth.shape[1] - 1).astype(np.float32)
    y = np.clip(places[..., 1], 0, smooth.shape[0] - 1).astype(np.float32)
    profile = cv2.remap(smooth, x, y, cv2.INTER_LINEAR).astype(float)
    steps = np.abs(np.diff(profile, axis=1)).max(axis=2)
    at = offsets[np.argmax(steps, axis=1)] + 0.25
    shift, slope = _robust_line(np.linspace(0.12, 0.88, 25), at)
    first, last = start + shift * normal, end + (shift + slope) * normal
    return first, (last - first) / np.linalg.norm(last - first)


def _robust_line(x: Floats, y: Floats) -> tuple[float, float]:
    """Intercept and slope through most points: median of pairwise slopes (Sen 1968), refitted to the points nearby."""
    first, second = np.triu_indices(len(x), 1)
    slope = float(np.median((y[second] - y[first]) / (x[second] - x[first])))
    shift = float(np.median(y - slope * x))
    near = np.abs(y - shift - slope * x) <= 1.0
    if near.sum() >= 5:
        slope, shift = (float(v) for v in np.polyfit(x[near], y[near], 1))
    return shift, slope


def _as_corners(points: Floats) -> Corners:
    a, b, c, d = ((float(x), float(y)) for x, y in points)
    return (a, b, c, d)
