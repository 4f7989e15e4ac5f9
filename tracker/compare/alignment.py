"""Shift, turn and scale the later photo to lay its hair over that of the earlier one.

Only a similarity: anything freer would bend the hair and show a change that is not there. Paths with too little in
common are not aligned.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.maths import polyline
from tracker.measure.reading import Marks, Point, ProfilePoint

Points = NDArray[np.float64]

SURROUND = (131, 131, 131)
"""Mid-grey where the moved photo has nothing to show."""

_POINTS = 41
# weak choices of our own: beyond them the pair would mislead more than help
_SCALES = (0.5, 2.0)
_LARGEST_TURN = 25.0  # degrees
_LARGEST_MISS = 0.08  # root mean square, share of the length of the path
_SAME_SIZE = 0.10  # natural log of a ratio: how far card and hair may disagree, since the card is not quite at the hair


@dataclass(frozen=True, slots=True)
class Alignment:
    """From pixels of the later photo to pixels of the earlier one.

    Attributes
    ----------
    matrix : two rows of three: turn with scale, then shift
    size : float, how many times larger the hair gets
    turn : float, degrees, clockwise on screen
    miss : float, root mean square distance left between the paths, share of the path's length
    """

    matrix: tuple[tuple[float, float, float], tuple[float, float, float]]
    size: float
    turn: float
    miss: float


def align(earlier: Marks, later: Marks) -> Alignment | None:
    """The similarity that lays the later photo's hair over the earlier one's, root on root.

    Parameters
    ----------
    earlier, later : Marks, of the two photos, pixels

    Returns
    -------
    Alignment or None : None where the paths differ too much in shape, size or direction

    Notes
    -----
    The whole path is laid over the whole path. The card shows whether hair was cut or has grown in between: where path
    and card suggest different scales, the card's is used, and only the part of the hair that both photos show is
    matched, from the root.

    References
    ----------
    Umeyama 1991, IEEE Trans Pattern Anal Mach Intell 13:376-380: least squares similarity of two sets of points.
    """
    lengths = polyline.length(earlier.path), polyline.length(later.path)
    if min(lengths) <= 0:
        return None
    move, miss = _similarity(_evenly(later.path, lengths[1]), _evenly(earlier.path, lengths[0]))
    size = _card_ratio(earlier, later)
    if size is not None and _cut_or_grown(lengths, size):
        common = min(lengths[0], lengths[1] * size)
        part = _evenly(later.path, common / size), _evenly(earlier.path, common)
        move, miss = _similarity(*part, size)
    larger, turn = float(move.scale), math.degrees(move.rotation)
    if not _SCALES[0] <= larger <= _SCALES[1] or abs(turn) > _LARGEST_TURN or miss > _LARGEST_MISS:
        return None
    first, second = (tuple(row) for row in move.params[:2].tolist())
    return Alignment((first, second), larger, turn, miss)


def way_ratio(earlier: Marks, later: Marks) -> float:
    """Position along the later path over position along the earlier path, for the same place on the hair.

    Both positions are shares of their path. 1 where both paths cover the same hair; not 1 where it was cut or has grown
    in between, as far as the card shows.

    Parameters
    ----------
    earlier, later : Marks, of the two photos
    """
    lengths = polyline.length(earlier.path), polyline.length(later.path)
    size = _card_ratio(earlier, later)
    if size is None or min(lengths) <= 0 or not _cut_or_grown(lengths, size):
        return 1.0
    return lengths[0] / size / lengths[1]


def on_the_later_way(profile: Sequence[ProfilePoint], earlier: Marks, later: Marks) -> tuple[ProfilePoint, ...]:
    """The profile of the earlier photo along the path of the later one.

    Hair that was cut keeps its distance from the root.

    Parameters
    ----------
    profile : of the earlier photo; places beyond the tip of the later path are left out
    earlier, later : Marks, of the two photos
    """
    ratio = way_ratio(earlier, later)
    moved = (replace(point, position=point.position * ratio) for point in profile)
    return tuple(point for point in moved if point.position <= 1)


def _cut_or_grown(lengths: tuple[float, float], size: float) -> bool:
    """Whether the paths suggest another scale than the card."""
    return abs(math.log(lengths[0] / lengths[1] / size)) > _SAME_SIZE


def _similarity(source: Points, target: Points, size: float | None = None) -> tuple[Any, float]:
    """The `skimage.transform.SimilarityTransform` of (n, 2) points, and the rms miss as a share of the target's length.

    The scale is `size` where that is given.
    """
    from skimage.transform import SimilarityTransform, estimate_transform  # imported late: only pairs need it

    move = estimate_transform("similarity", source, target)
    if size is not None:
        turned = SimilarityTransform(scale=size, rotation=move.rotation)
        shift = target.mean(axis=0) - turned(source.mean(axis=0))[0]
        move = SimilarityTransform(scale=size, rotation=move.rotation, translation=shift)
    miss = float(np.sqrt(np.mean(np.square(move.residuals(source, target)))))
    return move, miss / float(np.linalg.norm(np.diff(target, axis=0), axis=1).sum())


def _card_ratio(earlier: Marks, later: Marks) -> float | None:
    """How many times larger the card is in the earlier photo; None where a different card was noted."""
    if earlier.corners is None or later.corners is None or earlier.card_kind != later.card_kind:
        return None
    if earlier.size_mm and later.size_mm and earlier.size_mm != later.size_mm:
        return None
    areas = [cv2.contourArea(np.asarray(marks.corners, np.float32)) for marks in (earlier, later)]
    return math.sqrt(areas[0] / areas[1]) if min(areas) > 0 else None


def _evenly(path: Sequence[Point], length: float) -> Points:
    """Points at even steps along the first `length` pixels of a path, (n, 2)."""
    return np.asarray(polyline.places(path, np.linspace(0, length, _POINTS)), np.float64)


def aligned_picture(
    later: np.ndarray, later_size: tuple[int, int], earlier_size: tuple[int, int], how: Alignment, max_edge: int
) -> np.ndarray:
    """The later picture in the frame of the earlier photo, (h, w, 3) uint8.

    Parameters
    ----------
    later : (h, w, 3) uint8, the whole later photo at any size
    later_size, earlier_size : width and height of the photos that the marks are in, pixels
    how : Alignment, from `align`
    max_edge : int, longest side of the result, pixels
    """
    shrink = min(1.0, max_edge / max(earlier_size))
    width, height = (max(1, round(edge * shrink)) for edge in earlier_size)
    grow = later_size[0] / later.shape[1]
    matrix = np.asarray(how.matrix, float)
    # marks are measured from pixel edges, half a pixel from the centres
    matrix = np.column_stack([matrix[:, :2] * grow * shrink, matrix[:, 2] * shrink])
    matrix[:, 2] += matrix[:, :2] @ (0.5, 0.5) - 0.5
    moved = cv2.warpAffine(later, matrix, (width, height), flags=cv2.INTER_LINEAR, borderValue=SURROUND)
    return np.asarray(moved)
