"""Where the straight edges of a printed marker are, to a tenth of a pixel."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.reduced import roughly_linear

_ALONG = np.linspace(0.12, 0.88, 15)
"""Shares of a side at which its edge is looked for, away from the corners."""
_REACH = 0.09  # of a side, to both sides of an edge; the black frame of a marker is a sixth
_FAINTEST = 0.01  # of the light of white, from a marker's black to the paper
_STRAY = 0.25  # of the reach, by which an edge may lie off the others of its side


def on_its_edges(grey: np.ndarray, corners: Floats) -> Floats | None:
    """The corners where the straight edges of a marker meet; None where one of its edges does not show.

    A corner itself is rounded by any blur; the edges beside it stay where they are, in linear light.

    Parameters
    ----------
    grey : (h, w) uint8, encoded
    corners : (4, 2), pixel centres, where the marker's corners are about, clockwise
    """
    lines = []
    for start, end in pairwise((*corners, corners[0])):
        line = _edge(grey, start, end)
        if line is None:
            return None
        lines.append(line)
    meets = [np.cross(before, after) for before, after in zip((lines[-1], *lines[:-1]), lines, strict=True)]
    if any(abs(w) < 1e-9 for _, _, w in meets):
        return None
    found = np.array([(x / w, y / w) for x, y, w in meets])
    return found if float(np.abs(found - corners).max()) < max(2.5, 0.2 * side_of(corners)) else None


def _edge(grey: np.ndarray, start: Floats, end: Floats) -> Floats | None:
    """The line, in homogeneous coordinates, along the edge of a marker's black beside the line given."""
    length = float(np.hypot(*(end - start)))
    reach = max(2.0, _REACH * length)
    outward = np.array([end[1] - start[1], start[0] - end[0]]) / max(length, 1e-6)
    offsets = np.linspace(-reach, reach, 2 * int(np.ceil(2 * reach)) + 1)
    points = (start + _ALONG[:, None] * (end - start))[:, None] + offsets[None, :, None] * outward
    light = roughly_linear(cv2.remap(grey, points.astype(np.float32), None, cv2.INTER_LINEAR)).astype(float)
    dark, bright = light[:, :2].mean(axis=1), light[:, -2:].mean(axis=1)
    step = float(np.median(bright - dark))
    if step < _FAINTEST:
        return None
    clear = (bright - dark) > 0.5 * step
    # the share of the way that is light says where the edge is, however it is blurred
    share = (light - dark[:, None]) / np.where(clear, bright - dark, 1.0)[:, None]
    at = reach - 2 * reach * (share[:, :-1] + share[:, 1:]).mean(axis=1) / 2
    clear &= np.abs(at - np.median(at[clear])) < max(1.0, _STRAY * reach)
    if clear.sum() < len(_ALONG) // 2:
        return None
    slope, level = np.polyfit(_ALONG[clear], at[clear], 1)
    return np.cross((*(start + level * outward), 1.0), (*(end + (level + slope) * outward), 1.0))


def side_of(corners: Floats) -> float:
    """Side in pixels of the square that is as large as a marker.

    Parameters
    ----------
    corners : (4, 2), pixels
    """
    return float(np.sqrt(cv2.contourArea(corners.astype(np.float32))))
