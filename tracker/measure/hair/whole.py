"""The whole head of hair straightened: rows from root to tip, each as wide as the hair is at that height.

A narrow ribbon sees a few of the clumps of painted hair, and others after every wash; the whole width sees them all.
Rows stand at right angles to the line from root to tip, so that a band is what lies between two heights, and each row
holds the same share of the path's length as a ribbon's row would.

References
----------
[NEU] von Neumann, Kent, Bellinson, Hart 1941, Ann Math Statist 12:153-162: variance from neighbours' differences, which
      a slow trend hardly touches.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tracker.errors import InvalidPath
from tracker.maths import polyline
from tracker.maths.colorimetry import Floats, linear_to_lab
from tracker.measure.hair.path import HairPath, Strip, require_inside
from tracker.measure.hair.select import KEPT
from tracker.measure.reading import Point

CLUMP_CM = 1.5
"""Width of a clump of hair, which falls elsewhere after a wash as one piece."""

# of the path's length, where the card gives no scale: hair of 40 cm. Never of the width, or a narrower outline would
# get narrower stripes, more alike, and the smaller ±: on the bench it did for three halves of a head in five
_CLUMP = CLUMP_CM / 40
_FEWEST_STRIPES, _MOST_STRIPES = 4, 40
_FEWEST_PIXELS = 12
_FEWEST_STEPS = 3
_LARGEST = 100_000  # grid points inside the rectangle about the hair
_ROWS_TO_TRY = 100
_ANY_WIDTH = 100.0  # pixels: the whole hair has no width of its own
_STEEPEST = 0.3  # of the length: a path that turns back by more is not a way from root to tip


class Hair(Protocol):
    """Which places of the photo show hair."""

    def at(self, x: Floats, y: Floats) -> np.ndarray:
        """True where a place of the photo is hair, of the shape of `x`.

        Parameters
        ----------
        x, y : pixels
        """


@dataclass(frozen=True, slots=True)
class Extent:
    """How far the hair reaches on both sides of the line from root to tip, pixels."""

    left: float
    right: float

    @property
    def width(self) -> float:
        """From side to side."""
        return self.right - self.left


def extent(path: tuple[Point, ...], outline: tuple[Point, ...]) -> Extent:
    """How far an outline reaches on both sides of the line from root to tip.

    Parameters
    ----------
    path : points from root to tip, pixels
    outline : points about the hair, pixels
    """
    origin, _, across = _axes(path)
    offsets = (np.asarray(outline, float) - origin) @ across
    return Extent(float(offsets.min()), float(offsets.max()))


def straighten_whole(
    encoded: np.ndarray,
    path: tuple[Point, ...],
    hair: Hair,
    reach: Extent,
    *,
    along: float = 0.0,
    largest: int = _LARGEST,
) -> Strip:
    """The photo's code values over the whole hair.

    Parameters
    ----------
    encoded : (h, w, 3), upright
    path : points from root to tip, pixels
    hair : which places are hair
    reach : Extent, of the hair about the path
    along : float, pixels by which all heights are moved towards the tip
    largest : int, most grid points

    Raises
    ------
    InvalidPath : it turns back on its way to the tip
    OutsidePhoto : a point of the path lies outside the photo
    """
    height, width = encoded.shape[:2]
    require_inside(path, width, height)
    origin, down, across = _axes(path)
    length = polyline.length(path)
    step = max(1.0, float(np.sqrt(length * reach.width / largest)))
    rows, columns = max(20, round(length / step)), max(8, round(reach.width / step))
    heights = _heights(path, rows, origin, down) + along
    offsets = reach.left + (np.arange(columns) + 0.5) / columns * reach.width
    x = origin[0] + heights[:, None] * down[0] + offsets * across[0]
    y = origin[1] + heights[:, None] * down[1] + offsets * across[1]
    seen = (x >= 0) & (y >= 0) & (x < width) & (y < height)
    inside = seen & hair.at(x, y)
    column = np.clip(x, 0, width - 1).astype(np.intp)
    row = np.clip(y, 0, height - 1).astype(np.intp)
    codes = np.take(encoded.reshape(-1, 3), row * width + column, axis=0)
    area = float(np.ptp(heights)) / max(rows - 1, 1) * reach.width / columns
    return Strip(codes, inside, x, y, area)


def stripes(reach: Extent, pixels_per_cm: float | None, length: float) -> int:
    """How many stripes a clump wide lie side by side over the hair.

    Parameters
    ----------
    reach : Extent, of the hair
    pixels_per_cm : float or None, where the card gives a scale
    length : float, from root to tip, pixels
    """
    clump = _CLUMP * length if pixels_per_cm is None else CLUMP_CM * pixels_per_cm
    return int(np.clip(round(reach.width / max(clump, 1.0)), _FEWEST_STRIPES, _MOST_STRIPES))


def stripe_spread(linear: Floats, verdict: np.ndarray, count: int) -> tuple[Floats, float]:
    """Covariance of a band's mean Lab from stripe to stripe, and its degrees of freedom.

    What neighbours share because a head is round and lit from somewhere is no noise: the spread is that of their
    differences [NEU]. It falls with the number of clumps that are seen, not with the number of pixels.

    Parameters
    ----------
    linear : (n, m, 3), balanced linear light of the band
    verdict : (n, m) uint8, see `tracker.measure.hair.select`
    count : int, stripes across the rectangle about the hair
    """
    kept = verdict == KEPT
    edges = np.linspace(0, kept.shape[1], min(count, kept.shape[1]) + 1).astype(int)[:-1]
    pixels = np.add.reduceat(kept.sum(axis=0), edges)
    sums = np.add.reduceat(np.where(kept[..., None], linear, 0.0).sum(axis=0, dtype=float), edges, axis=0)
    # a stripe of which only a sliver shows would count as much as a whole one
    seen = pixels >= max(_FEWEST_PIXELS, 0.25 * float(np.median(pixels[pixels > 0], axis=0)) if pixels.any() else 0)
    beside = seen[1:] & seen[:-1]
    steps = int(beside.sum())
    if steps < _FEWEST_STEPS:
        return np.diag(np.full(3, 4.0)), 1.0
    lab = linear_to_lab(sums / np.maximum(pixels, 1)[:, None])
    apart = np.diff(lab, axis=0)[beside]
    # each stripe but the outer two stands in two differences
    dof = 2 * steps**2 / (3 * steps - 1)
    return np.asarray(apart.T @ apart / (2 * steps) / int(seen.sum())), dof


def require_downwards(path: tuple[Point, ...]) -> None:
    """Refuse a path that does not lead from a root to a tip.

    Parameters
    ----------
    path : points, pixels

    Raises
    ------
    InvalidPath : it is too short, or turns back on itself
    """
    points = HairPath(path, _ANY_WIDTH).points
    origin, down, _ = _axes(points)
    _heights(points, _ROWS_TO_TRY, origin, down)


def _axes(path: tuple[Point, ...]) -> tuple[Floats, Floats, Floats]:
    """The root, and unit vectors from root to tip and across, (2,) each."""
    points = np.asarray(path, float)
    line = points[-1] - points[0]
    down = line / max(float(np.linalg.norm(line)), 1e-9)
    return points[0], down, np.array([-down[1], down[0]])


def _heights(path: tuple[Point, ...], rows: int, origin: Floats, down: Floats) -> Floats:
    """How far down the line from root to tip the middle of each row lies, pixels, never falling, (rows,)."""
    length = polyline.length(path)
    places = polyline.places(path, (np.arange(rows) + 0.5) / rows * length)
    heights = (places - origin) @ down
    rising = np.maximum.accumulate(heights)
    back = float(np.max(rising - heights))
    if back > _STEEPEST * length or np.ptp(rising) < 1:
        raise InvalidPath(
            "The way from the root to the tip turns back on itself.",
            "Mark the root, the middle and the tip from above to below.",
            value=back,
            limit=_STEEPEST * length,
            unit="pixels",
        )
    return np.asarray(rising)
