"""Lengths and places along a line through points.

NumPy's linear interpolation, one coordinate at a time: SciPy's interpolators for several coordinates extrapolate beyond
the ends of a line, and refuse a repeated point.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from tracker.maths.colorimetry import Floats


def steps(points: ArrayLike) -> Floats:
    """Distance from each of `points`, (n, 2), to the next, (n - 1,); empty for a single point."""
    return np.asarray(np.linalg.norm(np.diff(np.asarray(points, float).reshape(-1, 2), axis=0), axis=1))


def sides(corners: ArrayLike) -> Floats:
    """Side lengths, (n,), of the closed figure with these `corners`, (n, 2); the last returns to the first corner."""
    points = np.asarray(corners, float)
    return np.asarray(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1))


def length(points: ArrayLike) -> float:
    """Length of the line, 0 for a single point.

    Parameters
    ----------
    points : (n, 2)

    >>> length([(0, 0), (3, 4), (3, 10)])
    11.0
    """
    return float(steps(points).sum())


def moved(before: ArrayLike, after: ArrayLike) -> float:
    """The largest difference of any coordinate between two lines, in the unit of the points.

    Parameters
    ----------
    before, after : (n, 2) each

    >>> moved([(0, 0), (3, 4)], [(0, 1), (5, 4)])
    2.0
    """
    return float(np.max(np.abs(np.asarray(after, float) - np.asarray(before, float))))


def in_box(
    along: Sequence[float], values: Sequence[float], width: float, height: float, edge: float
) -> list[tuple[float, float]]:
    """Readings as points of a drawing, (x, y) with y downward: the smallest and the largest touch the edges.

    Parameters
    ----------
    along, values : as many of each, at least one; `along` never falls
    width, height, edge : float, size of the drawing and of the margin that it leaves, in its own unit

    >>> in_box([0, 1, 4], [5, 7, 6], 10, 6, 1)
    [(1.0, 5.0), (3.0, 1.0), (9.0, 3.0)]
    """
    across, upward = max(along[-1] - along[0], 1e-9), max(max(values) - min(values), 1e-9)
    return [
        (
            edge + (width - 2 * edge) * (x - along[0]) / across,
            height - edge - (height - 2 * edge) * (y - min(values)) / upward,
        )
        for x, y in zip(along, values, strict=True)
    ]


def reached(points: ArrayLike) -> Floats:
    """Length of the line from its start to each of `points`, (n, 2): shape (n,), first 0."""
    return np.concatenate([[0.0], np.cumsum(steps(points))])


def places(points: ArrayLike, along: ArrayLike) -> Floats:
    """Points at given distances along the line, (..., 2); its end points beyond either end.

    Parameters
    ----------
    points : (n, 2)
    along : (...,), distance from the start, in the unit of the points

    >>> places([(0, 0), (3, 4), (3, 10)], [2.5, 8, 99])
    array([[ 1.5,  2. ],
           [ 3. ,  7. ],
           [ 3. , 10. ]])
    """
    line, at, wanted = np.asarray(points, float), reached(points), np.asarray(along, float)
    return np.stack([np.interp(wanted, at, line[:, axis]) for axis in range(2)], -1)
