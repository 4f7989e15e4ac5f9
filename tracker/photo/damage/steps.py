"""A step of brightness or colour that starts in the middle of a row of blocks and never ends.

A JPEG stores the mean of each block only as the difference from the block before. One wrong bit can shift all following
blocks by the same amount, without any decoder's warning. In the picture, this is a step along the upper edge of one row
of blocks to the right of some place, and along its lower edge to the left of it: the same step across the whole width,
unlike the edge of any object.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.maths.colorimetry import Floats

_CELL = 8  # pixels along the row that are averaged
_CLIP = 4.0  # codes; the edge of an object counts no more than this in each cell
_ALIKE = 1.0, 0.25  # codes, and share of the step, by which a cell may differ
_CANDIDATES = 8  # rows examined closely for brightness and for each of two colours
_STRAIGHT = 0.96  # a step that is as clear along one edge alone may be the edge of a frame or a caption
_GOES_ON = 0.5  # correlation of the rows on both sides: from here on, the picture continues and there is no step
_CLEAR = 0.6  # codes, weighted; 336 photos of many cameras stay below, except some with stripes, which have several
_ALONE = 2.2  # times as clear as the next one elsewhere in the photo
_YCC = np.array([[0.299, 0.587, 0.114], [-0.169, -0.331, 0.5], [0.5, -0.419, -0.081]])  # ITU-R BT.601


def find_step(pixels: NDArray[np.uint8], rows: int) -> int | None:
    """The first pixel row of the row of blocks where a step begins, or None.

    Parameters
    ----------
    pixels : uint8 (height, width, channels), as decoded, not turned
    rows : int, height of a row of blocks, pixels
    """
    edges, jumps, goes_on = _jumps(pixels, rows)
    found = [step for channel in range(jumps.shape[2]) for step in _clear_steps(jumps[..., channel], goes_on)]
    best, edge = max(found, default=(0.0, 0))
    next_best = max((clear for clear, elsewhere in found if abs(elsewhere - edge) > 1), default=0.0)
    return int(edges[edge]) if best >= max(_CLEAR, _ALONE * next_best) else None


def _jumps(pixels: NDArray[np.uint8], rows: int) -> tuple[NDArray[np.intp], Floats, NDArray[np.bool_]]:
    """The edges between rows of blocks; how far each cell jumps there, beyond its change on both sides; and whether the
    picture continues across each edge.
    """
    height, width = pixels.shape[:2]
    edges = np.arange(rows, height - 3, rows)
    cells = width // _CELL
    if len(edges) < 2 or cells < 4:
        return edges, np.zeros((0, 0, 0)), np.zeros(0, np.bool_)
    near = pixels[(edges[:, np.newaxis] + np.arange(-4, 4)).ravel(), : cells * _CELL]
    pairs = cv2.resize(near, (cells, 4 * len(edges)), interpolation=cv2.INTER_AREA)
    above, before, after, below = np.moveaxis(pairs.astype(np.float32).reshape(len(edges), 4, cells, -1), 1, 0)
    jumps = 1.5 * (after - before) + 0.5 * (above - below)
    goes_on = _alike_rows(before.mean(axis=2), after.mean(axis=2)) >= _GOES_ON
    return edges, np.asarray(jumps @ _YCC.T if jumps.shape[2] == 3 else jumps, np.float64), goes_on


def _alike_rows(before: NDArray[np.float32], after: NDArray[np.float32]) -> NDArray[np.float32]:
    """Correlation of how brightness changes along both sides of each edge, -1..1; 0 beside a row of one colour."""
    first, second = np.diff(before, axis=1), np.diff(after, axis=1)
    scale = np.sqrt((first**2).sum(axis=1) * (second**2).sum(axis=1))
    return np.asarray((first * second).sum(axis=1) / np.maximum(scale, 1.0))


def _clear_steps(jumps: Floats, goes_on: NDArray[np.bool_]) -> list[tuple[float, int]]:
    """How clear the clearest steps are, and at which edge each begins."""
    cells = jumps.shape[1]
    clipped = np.clip(jumps, -_CLIP, _CLIP)
    moved = np.cumsum(clipped[1:] - clipped[:-1], axis=1) / cells  # when the step begins one cell further right
    sums = np.abs(np.hstack([np.zeros((len(moved), 1)), moved]) + clipped[:-1].mean(axis=1, keepdims=True))
    inner = sums[:, 1:-1]
    found = []
    for edge in np.argsort(inner.max(axis=1))[-_CANDIDATES:]:
        start = 1 + int(inner[edge].argmax())
        size = float(sums[edge, start])
        straight = sums[edge, [0, -1]]
        if straight.max() >= _STRAIGHT * size and not goes_on[edge + int(straight.argmax())]:
            continue
        along = np.concatenate([jumps[edge + 1, :start], jumps[edge, start:]])
        step = float(np.median(along))
        alike = float(np.mean(np.abs(along - step) <= _ALIKE[0] + _ALIKE[1] * abs(step)))
        found.append((size * alike**2, int(edge)))
    return found
