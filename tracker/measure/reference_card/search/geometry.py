"""Quadrilaterals in the search picture: (4, 2) points, clockwise on screen, as pixel centres."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats

Line = tuple[Floats, Floats]
"""A point on it and its unit direction."""

_SHORTEST = 10.0  # pixels of a side
_LARGEST_COSINE = 0.5  # of a corner's angle
_OPPOSITE = 0.6  # shorter over longer of two opposite sides
_ASPECT = 2.2  # longer over shorter side


def clockwise(points: Floats) -> Floats:
    """Four points clockwise on screen, from the one nearest the top left.

    Parameters
    ----------
    points : (4, 2), in any order
    """
    centre = points.mean(axis=0)
    ordered = points[np.argsort(np.arctan2(points[:, 1] - centre[1], points[:, 0] - centre[0]))]
    return np.asarray(np.roll(ordered, -int(np.argmin(ordered.sum(axis=1))), axis=0))


def area(quad: Floats) -> float:
    """Square pixels.

    Parameters
    ----------
    quad : (4, 2)
    """
    x, y = quad[:, 0], quad[:, 1]
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def sides(quad: Floats) -> tuple[Floats, Floats]:
    """Vectors along the sides, (4, 2), and their lengths, (4,).

    Parameters
    ----------
    quad : (4, 2)
    """
    along = np.roll(quad, -1, axis=0) - quad
    return along, np.hypot(along[:, 0], along[:, 1])


def corner_cosine(quad: Floats) -> float:
    """The largest cosine of a corner's angle: 0 for a rectangle.

    Parameters
    ----------
    quad : (4, 2)
    """
    along, lengths = sides(quad)
    unit = along / lengths[:, None]
    return float(np.abs((unit * np.roll(unit, -1, axis=0)).sum(axis=1)).max())


def opposite_sides(quad: Floats) -> float:
    """The shorter over the longer of two opposite sides, the worse pair: 1 for a rectangle.

    Parameters
    ----------
    quad : (4, 2)
    """
    _, (a, b, c, d) = sides(quad)
    return float(min(min(a, c) / max(a, c), min(b, d) / max(b, d)))


def aspect(quad: Floats) -> float:
    """Mean width over mean height.

    Parameters
    ----------
    quad : (4, 2)
    """
    _, (a, b, c, d) = sides(quad)
    return float((a + c) / (b + d))


def card_shaped(quad: Floats, slack: float = 0.0, longest: float = _ASPECT) -> bool:
    """True for a convex quadrilateral as a flat card shows, seen from not too far aside.

    Parameters
    ----------
    quad : (4, 2)
    slack : float, by how much every limit is eased, for corners that are not final
    longest : float, largest ratio of the sides
    """
    along, lengths = sides(quad)
    if not np.isfinite(quad).all() or lengths.min() < _SHORTEST:
        return False
    following = np.roll(along, -1, axis=0)
    turns = along[:, 0] * following[:, 1] - along[:, 1] * following[:, 0]
    ratio = aspect(quad)
    return bool(
        turns.min() > 0
        and corner_cosine(quad) < _LARGEST_COSINE + slack
        and opposite_sides(quad) > _OPPOSITE - slack
        and max(ratio, 1 / ratio) < longest + slack
    )


def meet(first: Line, second: Line) -> Floats | None:
    """Where two lines meet; None where they are nearly parallel.

    Parameters
    ----------
    first, second : a point and a unit direction each
    """
    (p, d), (q, e) = first, second
    across = e[0] * d[1] - e[1] * d[0]
    if abs(across) < 0.2:
        return None
    between = q - p
    return np.asarray(p + d * (e[0] * between[1] - e[1] * between[0]) / across)


def corners_of(lines: list[Line]) -> Floats | None:
    """The quadrilateral of four side lines, in the order of its sides; None where two do not meet.

    Parameters
    ----------
    lines : of four sides, one after the other
    """
    found = [meet(lines[k - 1], lines[k]) for k in range(4)]
    if any(corner is None for corner in found):
        return None
    return np.array(found)


def outward(start: Floats, end: Floats, centre: Floats) -> Floats:
    """The unit normal of a side that points away from the centre.

    Parameters
    ----------
    start, end : (2,), of the side
    centre : (2,), of the outline
    """
    direction = end - start
    normal = np.array([direction[1], -direction[0]]) / np.hypot(direction[0], direction[1])
    return np.asarray(normal if normal @ ((start + end) / 2 - centre) > 0 else -normal)


def overlap(first: Floats, second: Floats) -> float:
    """Shared area over the smaller area.

    Parameters
    ----------
    first, second : (4, 2)
    """
    common, _ = cv2.intersectConvexConvex(first.astype(np.float32), second.astype(np.float32))
    return float(common / max(min(area(first), area(second)), 1.0))


def contains(quad: Floats, point: Floats) -> bool:
    """True for a point inside.

    Parameters
    ----------
    quad : (4, 2)
    point : (2,)
    """
    return bool(cv2.pointPolygonTest(quad.astype(np.float32), (float(point[0]), float(point[1])), False) >= 0)


def apart(quad: Floats, others: Floats) -> Floats:
    """Largest distance along x or y between the corners of an outline and of each other one, (n,), pixels.

    Parameters
    ----------
    quad : (4, 2)
    others : (n, 4, 2); from whichever corner they start
    """
    turned = np.stack([np.roll(quad, k, axis=0) for k in range(4)])
    return np.asarray(np.abs(others[:, None] - turned).max(axis=(2, 3)).min(axis=1))
