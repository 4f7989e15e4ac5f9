"""Shift, turn and scale the later photo to lay its hair over that of the earlier one.

Only a similarity: anything freer would bend the hair and show a change that is not there. Hair with too little in
common is not aligned.

The outlines are laid over each other where both are known. The line from root to tip is only tapped by a person: on
our rendered heads, three taps that are off by 4 % of the length and 6 % of the width put points of the head off by 16 %
of its width, which is worse than no move at all, and outlines put them off by 3 %.
"""

from __future__ import annotations

import cmath
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
Complexes = NDArray[np.complex128]

SURROUND = (131, 131, 131)
"""Mid-grey where the moved photo has nothing to show."""

_POINTS = 41
# weak choices of our own: beyond them the pair would mislead more than help
_SCALES = (0.5, 2.0)
_LARGEST_TURN = 25.0  # degrees
_LARGEST_MISS = 0.08  # root mean square, share of the length of the hair
_OTHER_WAY = 60.0  # degrees between the lines from root to tip beyond which one was marked the wrong way round
_AROUND = 160  # places about an outline
_ROUNDS = 25  # of finding the nearest places and moving; it settles in about ten
_NEAREST = 0.8  # share of the places that count: locks at the rim fall elsewhere after a wash
_UPPER = 0.6  # of the length that both show: the part of the outline that is matched where hair was cut or has grown
_SAME_SIZE = 0.10  # natural log of a ratio: how far card and hair may disagree, since the card is not quite at the hair


@dataclass(frozen=True, slots=True)
class Alignment:
    """From pixels of the later photo to pixels of the earlier one.

    Attributes
    ----------
    matrix : two rows of three: turn with scale, then shift
    size : float, how many times larger the hair gets
    turn : float, degrees, clockwise on screen
    miss : float, root mean square distance left between the outlines or the lines, share of the length of the hair
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
    Alignment or None : None where the hair differs too much in shape, size or direction

    Notes
    -----
    The whole outline is laid over the whole outline, or the whole line from root to tip over the other without two
    outlines. The card shows whether hair was cut or has grown in between: where hair and card suggest different scales,
    the card's is used, and only the part of the hair that both photos show is matched, from the root.

    References
    ----------
    - Umeyama 1991, IEEE Trans Pattern Anal Mach Intell 13:376-380: least squares similarity of two sets of points.
    - Chetverikov et al. 2005, Image Vis Comput 23:299-309: trimmed iterative closest points (from memory).
    """
    lengths = polyline.length(earlier.path), polyline.length(later.path)
    if min(lengths) <= 0:
        return None
    size = _card_ratio(earlier, later)
    if earlier.outline and later.outline:
        if abs(_angle(later.path, earlier.path)) > _OTHER_WAY:
            return None
        move, miss = _by_outlines(earlier, later, size)
        larger, turn = abs(move.turned), math.degrees(cmath.phase(move.turned))
        rows = move.rows()
    else:
        found, miss = _by_paths(earlier, later, lengths, size)
        larger, turn = float(found.scale), math.degrees(found.rotation)
        first, second = (tuple(row) for row in found.params[:2].tolist())
        rows = (first, second)
    if not _SCALES[0] <= larger <= _SCALES[1] or abs(turn) > _LARGEST_TURN or miss > _LARGEST_MISS:
        return None
    return Alignment(rows, larger, turn, miss)


def _by_paths(earlier: Marks, later: Marks, lengths: tuple[float, float], size: float | None) -> tuple[Any, float]:
    """The similarity of the lines from root to tip, see `_similarity`."""
    if size is not None and _cut_or_grown(lengths, size):
        common = min(lengths[0], lengths[1] * size)
        return _similarity(_evenly(later.path, common / size), _evenly(earlier.path, common), size)
    return _similarity(_evenly(later.path, lengths[1]), _evenly(earlier.path, lengths[0]))


@dataclass(frozen=True, slots=True)
class _Move:
    """A similarity of points as complex numbers, x + iy: `turned` times the point, plus `shift`."""

    turned: complex
    shift: complex

    def __call__(self, points: Complexes) -> Complexes:
        """Where the points come to lie, (n,)."""
        return np.asarray(self.turned * points + self.shift)

    def rows(self) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
        """As the rows of a matrix."""
        c, s = self.turned.real, self.turned.imag
        return (c, -s, self.shift.real), (s, c, self.shift.imag)


def _by_outlines(earlier: Marks, later: Marks, size: float | None) -> tuple[_Move, float]:
    """The move that lays the later outline on the earlier one, and the miss as a share of the length of the hair.

    It is looked for from two starts, without a turn and with that of the lines; the one that misses less counts.
    """
    target, source = (_around(marks) for marks in (earlier, later))
    spans = tuple(_heights(points, marks.path) for points, marks in ((target, earlier), (source, later)))
    lengths = float(np.ptp(spans[0])), float(np.ptp(spans[1]))
    fixed = size if size is not None and _cut_or_grown(lengths, size) else None
    if fixed is not None:
        upper = _UPPER * min(lengths[0], lengths[1] * fixed)
        target = target[spans[0] - spans[0].min() <= upper]
        source = source[spans[1] - spans[1].min() <= upper / fixed]
    scale = fixed if fixed is not None else float(np.std(target)) / max(float(np.std(source)), 1e-9)
    starts = (0.0, math.radians(_angle(later.path, earlier.path)))
    found = [_closest(source, target, cmath.rect(scale, start), fixed) for start in starts]
    move, miss = min(found, key=lambda each: each[1])
    return move, miss / lengths[0]


def _closest(source: Complexes, target: Complexes, turned: complex, size: float | None) -> tuple[_Move, float]:
    """The move found from a start, by pairing nearest places again and again; and the rms distance left, pixels."""
    move = _Move(turned, complex(target.mean() - turned * source.mean()))
    miss = math.inf
    for _ in range(_ROUNDS):
        apart = np.abs(move(source)[:, None] - target[None])
        to, back = apart.argmin(axis=1), apart.argmin(axis=0)
        near = np.r_[apart.min(axis=1), apart.min(axis=0)]
        kept = near <= np.quantile(near, _NEAREST)
        miss = float(np.sqrt(np.mean(np.square(near))))
        move = _least_squares(np.r_[source, source[back]][kept], np.r_[target[to], target][kept], size)
    return move, miss


def _least_squares(source: Complexes, target: Complexes, size: float | None) -> _Move:
    """The move that takes each place of `source` closest to its own of `target`."""
    a, b = source - source.mean(), target - target.mean()
    turned = complex(np.vdot(a, b) / max(float(np.vdot(a, a).real), 1e-9))
    if size is not None:
        turned = cmath.rect(size, cmath.phase(turned))
    return _Move(turned, complex(target.mean() - turned * source.mean()))


def _around(marks: Marks) -> Complexes:
    """Even places about an outline, (n,)."""
    closed = (*(marks.outline or ()), *(marks.outline or ())[:1])
    places = polyline.places(closed, np.arange(_AROUND) / _AROUND * polyline.length(closed))
    return np.asarray(places[:, 0] + 1j * places[:, 1])


def _heights(points: Complexes, path: Sequence[Point]) -> NDArray[np.float64]:
    """How far down the line from root to tip each place lies, (n,), pixels."""
    root, tip = complex(*path[0]), complex(*path[-1])
    down = (tip - root) / max(abs(tip - root), 1e-9)
    return np.asarray(((points - root) * down.conjugate()).real)


def _angle(start: Sequence[Point], end: Sequence[Point]) -> float:
    """Degrees from the direction of one line from root to tip to that of another."""
    first, second = (complex(*path[-1]) - complex(*path[0]) for path in (start, end))
    return math.degrees(cmath.phase(second / first)) if first else 0.0


def way_ratio(earlier: Marks, later: Marks) -> float:
    """Position along the later hair over position along the earlier, for the same place on it.

    Both positions are shares of the length. 1 where both lines cover the same hair; not 1 where it was cut or has grown
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


def on_the_later_way(
    profile: Sequence[ProfilePoint], earlier: Marks, later: Marks, left: float | None = None
) -> tuple[ProfilePoint, ...]:
    """The profile of the earlier photo along the hair of the later one.

    Hair that was cut keeps its distance from the root.

    Parameters
    ----------
    profile : of the earlier photo; places beyond the later tip are left out
    earlier, later : Marks, of the two photos
    left : float or None, the later length as a share of the earlier one, where it is known; None to go by the card
    """
    ratio = way_ratio(earlier, later) if left is None else 1 / left
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
