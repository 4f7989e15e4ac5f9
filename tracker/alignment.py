"""The later photo moved, turned and scaled so that its hair comes to lie on that of the earlier one.

Only a similarity (shift, turn, scale): anything freer would bend the hair and show a change that is none. Where the two
paths have too little in common for that, there is no alignment.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker import polyline
from tracker.reading import Marks, Point

Complex = NDArray[np.complex128]

SURROUND = (131, 131, 131)
"""Mid-grey where the moved photo has nothing to show."""

_POINTS = 41
# weak choices of our own: beyond them the pair would mislead more than it helps
_SCALES = (0.5, 2.0)
_LARGEST_TURN = 25.0  # degrees
_LARGEST_MISS = 0.08  # root mean square, share of the length of the path
_SAME_SIZE = 0.10  # natural log of a ratio: how far card and hair may disagree, as the card is not quite at the hair


@dataclass(frozen=True, slots=True)
class Alignment:
    """From pixels of the later photo to pixels of the earlier one.

    Attributes
    ----------
    matrix : two rows of three: turn with scale, then shift
    size : float, how many times larger the hair gets
    turn : float, degrees, clockwise on screen
    miss : float, root mean square of what is left between the paths, share of the path's length
    """

    matrix: tuple[tuple[float, float, float], tuple[float, float, float]]
    size: float
    turn: float
    miss: float


def align(earlier: Marks, later: Marks) -> Alignment | None:
    """What brings the later photo's hair onto the earlier one's, root on root.

    Parameters
    ----------
    earlier, later : what was marked in both photos

    Returns
    -------
    Alignment or None : None where the paths differ too much in shape, size or direction

    Notes
    -----
    The whole path is laid on the whole path. Hair that was cut or has grown between the photos is told by the card:
    where the paths ask for another size than the card does, the card's is taken, and only what is equally far from the
    root in both photos is laid on each other.

    References
    ----------
    Umeyama 1991, IEEE Trans Pattern Anal Mach Intell 13:376-380: least squares similarity of two sets of points.
    """
    lengths = polyline.length(earlier.path), polyline.length(later.path)
    if min(lengths) <= 0:
        return None
    factor, shift, miss = _similarity(_evenly(later.path, lengths[1]), _evenly(earlier.path, lengths[0]))
    size = _card_ratio(earlier, later)
    if size is not None and _cut_or_grown(lengths, size):
        common = min(lengths[0], lengths[1] * size)
        part = _evenly(later.path, common / size), _evenly(earlier.path, common)
        factor, shift, miss = _similarity(*part, size)
    larger, turn = abs(factor), math.degrees(math.atan2(factor.imag, factor.real))
    if not _SCALES[0] <= larger <= _SCALES[1] or abs(turn) > _LARGEST_TURN or miss > _LARGEST_MISS:
        return None
    rows = (factor.real, -factor.imag, shift.real), (factor.imag, factor.real, shift.imag)
    return Alignment(rows, larger, turn, miss)


def way_ratio(earlier: Marks, later: Marks) -> float:
    """What a share of the way from root to tip in the earlier photo is as a share of the way in the later one.

    1 where both paths hold the same hair; another where it was cut or has grown in between, as the card tells.
    """
    lengths = polyline.length(earlier.path), polyline.length(later.path)
    size = _card_ratio(earlier, later)
    if size is None or min(lengths) <= 0 or not _cut_or_grown(lengths, size):
        return 1.0
    return lengths[0] / size / lengths[1]


def _cut_or_grown(lengths: tuple[float, float], size: float) -> bool:
    """Whether the paths ask for another size than the card does."""
    return abs(math.log(lengths[0] / lengths[1] / size)) > _SAME_SIZE


def _similarity(source: Complex, target: Complex, size: float | None = None) -> tuple[complex, complex, float]:
    """Turn with scale as one complex factor, shift, and the rms miss as a share of the target's length.

    Points are complex numbers, x + iy. The scale is `size` where that is given.
    """
    a, b = source - source.mean(), target - target.mean()
    factor = complex(np.vdot(a, b) / np.vdot(a, a).real)
    if size is not None:
        factor *= size / max(abs(factor), 1e-9)
    miss = float(np.sqrt(np.mean(np.square(np.abs(b - factor * a))))) / float(np.abs(np.diff(target)).sum())
    return factor, complex(target.mean() - factor * source.mean()), miss


def _card_ratio(earlier: Marks, later: Marks) -> float | None:
    """How many times larger the card is in the earlier photo; None where it is another card, as far as is noted."""
    if earlier.corners is None or later.corners is None or earlier.card_kind != later.card_kind:
        return None
    if earlier.size_mm and later.size_mm and earlier.size_mm != later.size_mm:
        return None
    areas = [cv2.contourArea(np.asarray(marks.corners, np.float32)) for marks in (earlier, later)]
    return math.sqrt(areas[0] / areas[1]) if min(areas) > 0 else None


def _evenly(path: Sequence[Point], length: float) -> Complex:
    """Points at even steps along the first `length` pixels of a path, as complex numbers."""
    found = polyline.places(path, np.linspace(0, length, _POINTS))
    return np.asarray(found[:, 0] + 1j * found[:, 1])


def aligned_picture(
    later: np.ndarray, later_size: tuple[int, int], earlier_size: tuple[int, int], how: Alignment, max_edge: int
) -> np.ndarray:
    """The later picture in the frame of the earlier photo, (h, w, 3) uint8.

    Parameters
    ----------
    later : (h, w, 3) uint8, the whole later photo at any size
    later_size, earlier_size : width and height of the photos that the marks are in, pixels
    max_edge : int, longest side of the result, pixels
    """
    shrink = min(1.0, max_edge / max(earlier_size))
    width, height = (max(1, round(edge * shrink)) for edge in earlier_size)
    grow = later_size[0] / later.shape[1]
    matrix = np.asarray(how.matrix, float)
    # pixel centres lie half a pixel from the edges that marks count from
    matrix = np.column_stack([matrix[:, :2] * grow * shrink, matrix[:, 2] * shrink])
    matrix[:, 2] += matrix[:, :2] @ (0.5, 0.5) - 0.5
    moved = cv2.warpAffine(later, matrix, (width, height), flags=cv2.INTER_LINEAR, borderValue=SURROUND)
    return np.asarray(moved)
