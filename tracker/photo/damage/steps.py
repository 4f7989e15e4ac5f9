"""A step of brightness or colour that starts in the middle of a row of blocks and never ends.

A JPEG keeps of each block only how its mean differs from the block before. One wrong bit can shift all that follow by
the same amount, without a warning of any decoder. In the picture this is a step at the upper edge of one row of blocks
right of some place, and at its lower edge left of it: the same step along the whole width, which no edge of a thing
looks like.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.maths.colorimetry import Floats

_CELL = 8  # pixels along the row that are averaged
_CLIP = 4.0  # codes; the edge of a thing counts no more than this in each cell
_ALIKE = 1.0, 0.25  # codes, and share of the step, that a cell may be off by
_CANDIDATES = 8  # rows looked at closely for each of brightness and two colours
_STRAIGHT = 0.96  # a step that is as clear along one edge alone may be the edge of a frame or a caption
_GOES_ON = 0.5  # correlation of the rows on both sides, from which on it is none
_CLEAR = 0.6  # codes, weighted; 336 photos of many cameras stay below, but for some with stripes, which have several
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
    """The edges between rows of blocks; how far each cell jumps there, beyond how it changes on both sides; and whether
    what the picture shows goes on across each edge.
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
