"""Lengths and places along a line through points.

NumPy's own linear interpolation, one coordinate at a time: SciPy's interpolators for several coordinates go on beyond
the ends of a line, and refuse a point that stands there twice.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.floating[Any]]


def steps(points: ArrayLike) -> Floats:
    """Distance from each point to the next, (n - 1,), for points of shape (n, 2); none for a single point."""
    return np.asarray(np.linalg.norm(np.diff(np.asarray(points, float).reshape(-1, 2), axis=0), axis=1))


def sides(corners: ArrayLike) -> Floats:
    """Lengths of the sides of a closed figure, (n,), the last of them back to its first corner; (n, 2) corners."""
    points = np.asarray(corners, float)
    return np.asarray(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1))


def length(points: ArrayLike) -> float:
    """Length of the line, 0 for a single point.

    >>> length([(0, 0), (3, 4), (3, 10)])
    11.0
    """
    return float(steps(points).sum())


def reached(points: ArrayLike) -> Floats:
    """Length of the line up to each of its points, (n,), beginning with 0."""
    return np.concatenate([[0.0], np.cumsum(steps(points))])


def places(points: ArrayLike, along: ArrayLike) -> Floats:
    """Where the line is after so much of its length, (..., 2); before its beginning and past its end, those points.

    Parameters
    ----------
    points : (n, 2)
    along : (...,), in the unit of the points

    >>> places([(0, 0), (3, 4), (3, 10)], [2.5, 8, 99])
    array([[ 1.5,  2. ],
           [ 3. ,  7. ],
           [ 3. , 10. ]])
    """
    line, at, wanted = np.asarray(points, float), reached(points), np.asarray(along, float)
    return np.stack([np.interp(wanted, at, line[:, axis]) for axis in range(2)], -1)
