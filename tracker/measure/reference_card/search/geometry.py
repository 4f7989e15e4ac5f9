"""Quadrilaterals in the search picture: (4, 2) points, clockwise on screen, as pixel centres."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats

Line = tuple[Floats, Floats]
"""A point on it and its unit direction."""

_NEXT, _BEFORE = [1, 2, 3, 0], [3, 0, 1, 2]
_TURNS = np.array([[0, 1, 2, 3], [1, 2, 3, 0], [2, 3, 0, 1], [3, 0, 1, 2]])
_PARALLEL = 0.2  # sine of the angle between two lines that do not meet
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
    return float(areas(quad[None])[0])


def areas(quads: Floats) -> Floats:
    """Square pixels of each, (n,).

    Parameters
    ----------
    quads : (n, 4, 2)
    """
    first, second = quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1]
    return np.asarray(np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / 2)


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
    return bool(which_card_shaped(quad[None], slack, longest)[0])


def which_card_shaped(quads: Floats, slack: float = 0.0, longest: float = _ASPECT) -> np.ndarray:
    """True for each quadrilateral that is convex as a flat card shows, (n,) bool; False where a corner is not finite.

    Parameters
    ----------
    quads : (n, 4, 2)
    slack, longest : float, see `card_shaped`
    """
    finite = np.asarray(np.isfinite(quads).all(axis=(1, 2)))
    along, lengths = all_sides(np.where(finite[:, None, None], quads, 0.0))
    following = along[:, _NEXT]
    turns = along[..., 0] * following[..., 1] - along[..., 1] * following[..., 0]
    unit = along / np.maximum(lengths, 1e-9)[..., None]
    cosines = np.abs((unit * unit[:, _NEXT]).sum(axis=2)).max(axis=1)
    a, b, c, d = np.maximum(lengths, 1e-9).T
    opposite = np.minimum(np.minimum(a, c) / np.maximum(a, c), np.minimum(b, d) / np.maximum(b, d))
    ratio = (a + c) / (b + d)
    shaped = finite & (lengths.min(axis=1) >= _SHORTEST) & (turns.min(axis=1) > 0)
    shaped &= (cosines < _LARGEST_COSINE + slack) & (opposite > _OPPOSITE - slack)
    return np.asarray(shaped & (np.maximum(ratio, 1 / ratio) < longest + slack))


def all_sides(quads: Floats) -> tuple[Floats, Floats]:
    """Vectors along the sides of each, (n, 4, 2), and their lengths, (n, 4).

    Parameters
    ----------
    quads : (n, 4, 2)
    """
    along = quads[:, _NEXT] - quads
    return along, np.hypot(along[..., 0], along[..., 1])


def outward(start: Floats, end: Floats, centre: Floats) -> Floats:
    """The unit normal of one side that points away from the centre, (2,).

    Parameters
    ----------
    start, end : (2,), of the side
    centre : (2,), of the outline
    """
    direction = end - start
    normal = np.array([direction[1], -direction[0]]) / np.hypot(direction[0], direction[1])
    return np.asarray(normal if normal @ ((start + end) / 2 - centre) > 0 else -normal)


def outwards(quads: Floats) -> Floats:
    """Unit normals of the sides that point away from the middle, (n, 4, 2).

    Parameters
    ----------
    quads : (n, 4, 2)
    """
    along, lengths = all_sides(quads)
    normals = np.stack([along[..., 1], -along[..., 0]], axis=2) / np.maximum(lengths, 1e-9)[..., None]
    away = (quads + quads[:, _NEXT]) / 2 - quads.mean(axis=1)[:, None]
    return np.asarray(np.where((normals * away).sum(axis=2)[..., None] > 0, normals, -normals))


def all_corners_of(points: Floats, directions: Floats) -> Floats:
    """Where each side line meets the one before it, (n, 4, 2); NaN where two are nearly parallel.

    Parameters
    ----------
    points, directions : (n, 4, 2), a point on each line and its unit direction
    """
    before, along = points[:, _BEFORE], directions[:, _BEFORE]
    across = directions[..., 0] * along[..., 1] - directions[..., 1] * along[..., 0]
    between = points - before
    there = (directions[..., 0] * between[..., 1] - directions[..., 1] * between[..., 0]) / np.where(
        np.abs(across) < _PARALLEL, np.nan, across
    )
    return np.asarray(before + along * there[..., None])


def meet(first: Line, second: Line) -> Floats | None:
    """Where two lines meet; None where they are nearly parallel.

    Parameters
    ----------
    first, second : a point and a unit direction each
    """
    (p, d), (q, e) = first, second
    across = e[0] * d[1] - e[1] * d[0]
    if abs(across) < _PARALLEL:
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
    return np.asarray(np.abs(others[:, None] - quad[_TURNS]).max(axis=(2, 3)).min(axis=1))


def each_once(quads: Floats, limits: Floats, known: Floats | None = None) -> np.ndarray:
    """Which outlines to keep so that each differs from those kept before it, and from what is known, indices.

    Parameters
    ----------
    quads : (n, 4, 2), the preferred ones first
    limits : (n,), pixels by which the corners of two must lie apart
    known : (m, 4, 2) or None
    """
    if known is not None and len(known):
        quads, limits = np.concatenate([known, quads]), np.concatenate([np.zeros(len(known)), limits])
    first = len(quads) - len(limits) if known is None else len(known)
    far = np.min([np.abs(quads[:, None] - quads[:, turn]).max(axis=(2, 3)) for turn in _TURNS], axis=0)
    kept: list[int] = []
    for k, limit in enumerate(limits):
        if k < first or not kept or far[k, kept].min() >= limit:
            kept.append(k)
    return np.array([k - first for k in kept if k >= first], np.intp)
