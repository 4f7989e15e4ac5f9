"""Whether a dark frame of even width runs round a grey, as round the screen of a phone or a tablet."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats, luminance
from tracker.maths.rgb_space import RgbSpace
from tracker.measure.reference_card.kind import Corners

_PLACES = 24  # along a side
_LEFT_OUT = 0.15  # of a side, at either end: rounded corners
_REACH = 0.22  # of the card's smaller side, how wide a frame can be
_STEP = 0.5  # pixels of a profile
_DARK = 0.35  # of the luminance just inside
_BLUR = 2.0  # pixels within which the frame begins
_NARROWEST = 1.5  # pixels
_AGREE = 0.75  # share of a side's places where it ends, and ends alike
_ALIKE = 0.3  # of its width, by which the width may vary along a side, or a pixel


def framed_sides(encoded: np.ndarray, space: RgbSpace, corners: Corners) -> int:
    """How many sides of a grey have a dark frame of even width, 0 to 4.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    space : what the codes mean
    corners : four points, pixels, clockwise
    """
    points = np.asarray(corners, float)
    smaller = float(min(np.hypot(*(points[(k + 1) % 4] - points[k])) for k in range(4)))
    return sum(_is_framed(encoded, space, points[k], points[(k + 1) % 4], _REACH * smaller) for k in range(4))


def _is_framed(encoded: np.ndarray, space: RgbSpace, begin: Floats, end: Floats, reach: float) -> bool:
    way = (end - begin) / np.hypot(*(end - begin))
    across = np.array([way[1], -way[0]])  # outwards, since the corners run clockwise
    along = begin + np.linspace(_LEFT_OUT, 1 - _LEFT_OUT, _PLACES)[:, None] * (end - begin)
    out = np.arange(0.0, reach + _STEP, _STEP)
    light = _luminance(encoded, space, along[:, None] + out[None, :, None] * across)
    inside = np.nanmedian(_luminance(encoded, space, along[:, None] - 3 * across))
    widths = np.array([_run(row < _DARK * inside) for row in light])
    ends = np.isfinite(widths)
    if ends.mean() < _AGREE:
        return False
    width = float(np.median(widths[ends]))
    alike = np.abs(widths - width) <= max(_ALIKE * width, 1.0)
    return bool(width >= _NARROWEST and alike.mean() >= _AGREE)


def _luminance(encoded: np.ndarray, space: RgbSpace, places: Floats) -> Floats:
    x, y = np.moveaxis((places - 0.5).astype(np.float32), -1, 0)
    height, width = encoded.shape[:2]
    codes = cv2.remap(encoded, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    light = np.asarray(luminance(space.linear(codes)), float)
    light[(x < 0) | (y < 0) | (x > width - 1) | (y > height - 1)] = np.nan
    return light


def _run(dark: np.ndarray) -> float:
    """How far the dark goes that begins within the blur of the edge, pixels; NaN where none begins or none ends."""
    first = int(_BLUR / _STEP) + 1
    begins = np.flatnonzero(dark[: first + 1])
    if not len(begins):
        return np.nan
    ends = np.flatnonzero(~dark[begins[0] :])
    return float(_STEP * ends[0]) if len(ends) else np.nan
