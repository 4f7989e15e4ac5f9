"""A root-to-tip path over the hair, and the photo straightened along it.

The strip holds the photo's own code values on a regular grid, rows from root to tip and columns across. Bands, blocks
and the profile are then plain slices, and nothing is averaged before it is linear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracker.errors import InvalidPath, OutsidePhoto
from tracker.maths import polyline
from tracker.maths.colorimetry import Floats
from tracker.maths.uncertainty import format_share
from tracker.measure.reading import Point
from tracker.words import count, pixels

_SHORTEST = 60.0  # pixels; the path over a head in a photo is ten times as long
NARROWEST = 8.0
"""Pixels across the narrowest ribbon."""

_MOST_OUTSIDE = 0.2  # share of the ribbon
_LARGEST_STRIP = 100_000  # grid points; more costs time and adds nothing next to the spread from block to block


@dataclass(frozen=True, slots=True)
class HairPath:
    """Points in pixels from root to tip, and the width of the ribbon in pixels."""

    points: tuple[Point, ...]
    width: float

    def __post_init__(self) -> None:
        points = np.asarray(self.points, float)
        if len(self.points) < 2:
            raise InvalidPath(
                f"The line from root to tip has {count(len(self.points), 'point')}, it needs at least two.",
                "Mark the root and the tip.",
                value=float(len(self.points)),
                limit=2.0,
                unit="points",
            )
        if points.ndim != 2 or points.shape[1] != 2 or not np.all(np.isfinite(points)):
            raise InvalidPath("The line from root to tip has a point without two coordinates.", "Mark it again.")
        steps = polyline.steps(points)
        if steps.min() < 1.0:
            raise InvalidPath(
                "Two neighbouring points of the line from root to tip are the same.", "Move or remove one."
            )
        if steps.sum() < _SHORTEST:
            raise InvalidPath(
                f"The line from root to tip is {pixels(steps.sum())} long (at least {_SHORTEST:.0f}).",
                "Mark it from the root to the tip of the hair.",
                value=float(steps.sum()),
                limit=_SHORTEST,
                unit="pixels",
            )
        if not self.width >= NARROWEST:
            raise InvalidPath(
                f"The path is {pixels(self.width)} wide (at least {NARROWEST:.0f}).",
                "Make it as wide as the strand to be measured.",
                value=float(self.width),
                limit=NARROWEST,
                unit="pixels",
            )

    @property
    def length(self) -> float:
        """Length in pixels."""
        return polyline.length(self.points)


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """The photo straightened along a path.

    Attributes
    ----------
    codes : (n, m, 3) uint8 or uint16, code values; row 0 at the root, column 0 on the left looking towards the tip
    inside : (n, m) bool, False where the ribbon leaves the photo
    x, y : (n, m), where each grid point lies in the photo, pixels
    area : float, pixels of the photo for one grid point
    """

    codes: np.ndarray
    inside: np.ndarray
    x: Floats
    y: Floats
    area: float

    def rows(self, start: float, stop: float) -> slice:
        """Rows between two shares of the length.

        Parameters
        ----------
        start, stop : float, shares of the length from the root, 0..1
        """
        count = len(self.codes)
        first = min(int(np.floor(start * count)), count - 1)
        return slice(first, max(int(np.ceil(stop * count)), first + 1))


def straighten(
    encoded: np.ndarray,
    path: HairPath,
    *,
    across: float = 0.0,
    along: float = 0.0,
    largest: int = _LARGEST_STRIP,
) -> Strip:
    """The photo's code values on a grid along a path.

    Parameters
    ----------
    encoded : (h, w, 3), upright
    path : in the photo's pixels
    across, along : float, pixels by which the whole ribbon is moved sideways and towards the tip
    largest : int, most grid points

    Raises
    ------
    OutsidePhoto : a point of the path, or a fifth of the ribbon before it is moved, lies outside the photo
    """
    height, width = encoded.shape[:2]
    require_inside(path.points, width, height)
    step = max(1.0, np.sqrt(path.length * path.width / largest))
    count = max(20, round(path.length / step)), max(8, round(path.width / step))
    centre, normal = _spine(path, count[0], along)
    offsets = (np.arange(count[1]) + 0.5) / count[1] * path.width - path.width / 2 + across
    x = centre[:, 0, None] + normal[:, 0, None] * offsets
    y = centre[:, 1, None] + normal[:, 1, None] * offsets
    inside = (x >= 0) & (y >= 0) & (x < width) & (y < height)
    missing = 1 - float(inside.mean())
    if missing > _MOST_OUTSIDE and not (across or along):
        raise OutsidePhoto(
            f"{format_share(missing)} of the path's width lies outside the photo "
            f"(limit {format_share(_MOST_OUTSIDE)}).",
            "Move the path onto the hair or make it narrower.",
            value=missing,
            limit=_MOST_OUTSIDE,
            unit="share",
        )
    column = np.clip(x, 0, width - 1).astype(np.intp)
    row = np.clip(y, 0, height - 1).astype(np.intp)
    codes = np.take(encoded.reshape(-1, 3), row * width + column, axis=0)
    return Strip(codes, inside, x, y, path.length * path.width / (count[0] * count[1]))


def require_inside(path: tuple[Point, ...], width: int, height: int, what: str = "line from root to tip") -> None:
    """Refuse a path, or an outline, that leaves the photo.

    Parameters
    ----------
    path : points, pixels
    width, height : int, of the photo, pixels
    what : str, the line in a word

    Raises
    ------
    OutsidePhoto : by how much
    """
    points = np.asarray(path, float)
    beyond = float(np.maximum(np.maximum(-points, points - [width, height]), 0).max())
    if beyond > 0:
        raise OutsidePhoto(
            f"A point of the {what} lies {pixels(beyond)} outside the photo.",
            "Move it onto the hair.",
            value=beyond,
            limit=0.0,
            unit="pixels",
        )


def _spine(path: HairPath, count: int, along: float) -> tuple[Floats, Floats]:
    """Centres of the rows and unit vectors across, (n, 2) each."""
    length = float(polyline.reached(path.points)[-1])
    at = (np.arange(count) + 0.5) / count * length + along
    centre = polyline.places(path.points, at)
    # the direction turns gradually over half a width, or the ribbon would fold at a corner of the path
    span = max(path.width / 2, 1.5 * length / count)
    tangent = polyline.places(path.points, at + span) - polyline.places(path.points, at - span)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    return centre, np.stack([-tangent[:, 1], tangent[:, 0]], -1)
