"""Lengths and places along a line through points.

NumPy's linear interpolation, one coordinate at a time: SciPy's interpolators for several coordinates extrapolate beyond
the ends of a line, and refuse a repeated point.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.floating[Any]]


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
