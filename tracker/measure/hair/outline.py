"""The outline of the hair: a polygon that a person can see, believe or drag."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracker.errors import InvalidOutline
from tracker.maths.colorimetry import Floats
from tracker.measure.reading import Point
from tracker.words import count

FEWEST = 3
MOST = 16  # more cannot be dragged by a finger, and no head of hair needs them
_SMALLEST = 2500.0  # pixels of area: 50 x 50, less than any band needs
_PLAIN_WIDTH = 0.2  # of the photo's width
_BEYOND = 0.05  # of the path's length


@dataclass(frozen=True, slots=True)
class Outline:
    """Three to sixteen points about the hair, pixels of the upright photo, in order; the last joins the first."""

    points: tuple[Point, ...]

    def __post_init__(self) -> None:
        _require_number(len(self.points))
        points = np.asarray(self.points, float)
        if points.ndim != 2 or points.shape[1] != 2 or not np.all(np.isfinite(points)):
            raise InvalidOutline("The outline has a point without two coordinates.", "Mark it again.")
        pair = first_crossing(points)
        if pair is not None:
            raise InvalidOutline(
                f"The outline crosses itself between its points {pair[0] + 1} and {pair[1] + 1}.",
                "Move one of them until the line runs round the hair once.",
            )
        if self.area < _SMALLEST:
            raise InvalidOutline(
                f"The outline holds {self.area:.0f} pixels (at least {_SMALLEST:.0f}).",
                "Draw it round all of the hair.",
                value=self.area,
                limit=_SMALLEST,
                unit="pixels",
            )

    @property
    def area(self) -> float:
        """Pixels of the photo inside."""
        x, y = np.asarray(self.points, float).T
        # about the first point: far from the origin the products would swallow the area
        x, y = x - x[0], y - y[0]
        return float(abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2)

    def holds(self, x: Floats, y: Floats) -> np.ndarray:
        """Which places lie inside.

        Parameters
        ----------
        x, y : (...), pixels of the photo

        Returns
        -------
        bool, (...)
        """
        x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        inside = np.zeros(x.shape, bool)
        corners = np.asarray(self.points, float)
        for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            if y0 == y1:
                continue
            # a ray to the right crosses this edge; an odd number of crossings is inside
            crossed = (y >= min(y0, y1)) & (y < max(y0, y1))
            inside ^= crossed & (x < x0 + (y - y0) * ((x1 - x0) / (y1 - y0)))
        return inside


def _require_number(number: int) -> None:
    if number < FEWEST:
        raise InvalidOutline(
            f"The outline has {count(number, 'point')}, it needs at least {FEWEST}.",
            "Draw it round the hair.",
            value=float(number),
            limit=float(FEWEST),
            unit="points",
        )
    if number > MOST:
        raise InvalidOutline(
            f"The outline has {count(number, 'point')} (at most {MOST}).",
            "Remove points where the edge is straight.",
            value=float(number),
            limit=float(MOST),
            unit="points",
        )


def outline_about(path: tuple[Point, ...], size: tuple[int, int]) -> tuple[Point, ...]:
    """A plain outline about a path, inside the photo: where a person begins to draw who has no better one.

    Parameters
    ----------
    path : points from root to tip, pixels
    size : width and height of the photo, pixels

    Returns
    -------
    tuple of points, pixels : down one side of the path and up the other

    Examples
    --------
    >>> outline_about(((500, 200), (500, 600), (500, 1000)), (1000, 1200))
    ((400.0, 160.0), (400.0, 600.0), (400.0, 1040.0), (600.0, 1040.0), (600.0, 600.0), (600.0, 160.0))
    """
    points = np.asarray(path, float)
    sides = _both_sides(points, _PLAIN_WIDTH * size[0])
    # a path that is hardly one, or runs along the photo's edge: the box about it
    low, high = points.min(axis=0) - _PLAIN_WIDTH * size[0] / 2, points.max(axis=0) + _PLAIN_WIDTH * size[0] / 2
    box = np.array([low, [low[0], high[1]], high, [high[0], low[1]]])
    about, plain = (
        tuple((float(x), float(y)) for x, y in np.clip(rim, 0, np.asarray(size, float))) for rim in (sides, box)
    )
    try:
        return Outline(about).points
    except InvalidOutline:
        return plain


def _both_sides(points: Floats, width: float) -> Floats:
    """Down one side of a path and up the other, (n, 2); root and tip lie a little inside."""
    line = points[-1] - points[0]
    length = max(float(np.linalg.norm(line)), 1e-9)
    down = line / length
    across = np.array([-down[1], down[0]]) * width / 2
    heights = (points - points[0]) @ down
    # a point that turns back would make the outline cross itself
    falling = [0, *(i for i in range(1, len(points)) if heights[i] > heights[:i].max())]
    chosen = points[[falling[i] for i in np.unique(np.linspace(0, len(falling) - 1, MOST // 2).round().astype(int))]]
    chosen[0] -= _BEYOND * length * down
    chosen[-1] += _BEYOND * length * down
    return np.vstack([chosen + across, chosen[::-1] - across])


def first_crossing(points: Floats) -> tuple[int, int] | None:
    """The first two edges of a closed polygon that meet where they should not, by their first points.

    Parameters
    ----------
    points : (n, 2)
    """
    ends = np.roll(points, -1, axis=0)
    number = len(points)
    for first in range(number):
        for second in range(first + 1, number):
            if second - first in (1, number - 1):
                if _doubles_back(points, ends, first, second):
                    return first, second
            elif _meet(points[first], ends[first], points[second], ends[second]):
                return first, second
    return None


def _turn(a: Floats, b: Floats, c: Floats) -> float:
    """Twice the signed area of a triangle."""
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def _meet(a: Floats, b: Floats, c: Floats, d: Floats) -> bool:
    """Whether the pieces of line a-b and c-d share a place."""
    sides = _turn(a, b, c), _turn(a, b, d), _turn(c, d, a), _turn(c, d, b)
    if (sides[0] > 0) != (sides[1] > 0) and (sides[2] > 0) != (sides[3] > 0) and all(sides):
        return True
    spans = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    return any(side == 0 and _between(*span) for side, span in zip(sides, spans, strict=True))


def _between(a: Floats, b: Floats, place: Floats) -> bool:
    """Whether a place on the line through a and b lies between them."""
    return bool(np.all(place >= np.minimum(a, b)) and np.all(place <= np.maximum(a, b)))


def _doubles_back(points: Floats, ends: Floats, first: int, second: int) -> bool:
    """Whether an edge has no length, or runs back over its neighbour."""
    if np.array_equal(points[first], ends[first]) or np.array_equal(points[second], ends[second]):
        return True
    before, after = (first, second) if second - first == 1 else (second, first)
    a, b, c = points[before], ends[before], ends[after]
    return _turn(a, b, c) == 0 and float(np.dot(a - b, c - b)) > 0
