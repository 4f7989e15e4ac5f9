"""Whether the sides of a card are straight, as those of a flat card are in any photo of it."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.maths.robust import robust_sd
from tracker.measure.reference_card.kind import Corners

_PLACES = 32  # along a side
_LEFT_OUT = 0.1  # of a side, at either end: rounded corners
_REACH = 0.12, 3.0, 32.0  # to either side of the line between two corners: of its length, and limits in pixels
_STEP = 0.5  # pixels of a profile
_LEAST = 4.0  # codes across an edge
_ON_LINE = 0.7  # share of a side's places that must agree, or the side says nothing
_SURE = 3.0  # standard uncertainties
_SLACK = 0.6  # pixels from the curve within which a place agrees with it


def bow_of(encoded: np.ndarray, corners: Corners) -> float:
    """By how much two opposite sides bulge in their middle, share of their length, at least.

    A card bends as a sheet, so opposite sides bulge together; one side alone is something else that lies along it.
    Sides that cannot be followed, as before a background of their own grey, say nothing.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    corners : four points, pixels, clockwise
    """
    points = np.asarray(corners, float)
    bows = [_bow(encoded, points[k], points[(k + 1) % 4]) for k in range(4)]
    return max(min(bows[0], bows[2]), min(bows[1], bows[3]))


def _bow(encoded: np.ndarray, begin: Floats, end: Floats) -> float:
    length = float(np.hypot(*(end - begin)))
    along = np.linspace(_LEFT_OUT, 1 - _LEFT_OUT, _PLACES)
    offsets = _offsets(encoded, begin, end, along)
    seen = np.isfinite(offsets)
    if seen.mean() < _ON_LINE:
        return 0.0
    design = np.stack([np.ones(_PLACES), along - 0.5, (along - 0.5) ** 2], -1)
    keep = seen & (np.abs(offsets - np.nanmedian(offsets)) < 0.5 * _reach(length))
    for _ in range(5):
        if keep.mean() < _ON_LINE:
            return 0.0
        curve, *_ = np.linalg.lstsq(design[keep], offsets[keep], rcond=None)
        rest = offsets - design @ curve
        keep = seen & (np.abs(rest) <= max(3 * float(robust_sd(rest[keep])), _SLACK))
    if float(robust_sd(rest[keep])) > _SLACK:
        return 0.0
    cov = np.linalg.inv(design[keep].T @ design[keep]) * max(float(np.var(rest[keep])), 0.02)
    bulge, u = abs(float(curve[2])) / 4, float(np.sqrt(cov[2, 2])) / 4
    return max(bulge - _SURE * u, 0.0) / length


def _reach(length: float) -> float:
    share, least, most = _REACH
    return min(max(share * length, least), most)


def _offsets(encoded: np.ndarray, begin: Floats, end: Floats, along: Floats) -> Floats:
    """The strongest step across a side, pixels from the line between its corners; NaN where there is hardly one."""
    length = float(np.hypot(*(end - begin)))
    way = (end - begin) / length
    across = np.array([way[1], -way[0]])
    reach = _reach(length)
    out = np.arange(-reach, reach + _STEP, _STEP)
    places = begin + along[:, None, None] * (end - begin) + out[None, :, None] * across - 0.5
    x, y = np.moveaxis(places.astype(np.float32), -1, 0)
    codes = np.asarray(encoded, np.float32) if encoded.dtype == np.uint16 else encoded
    profiles = cv2.remap(codes, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(float)
    if encoded.dtype == np.uint16:
        profiles /= 257
    slopes = cv2.GaussianBlur(np.diff(profiles, axis=1), (0, 0), sigmaX=1.5, sigmaY=0.8)
    size = np.sqrt(np.mean(slopes**2, axis=-1))
    peak = np.clip(size.argmax(axis=1), 1, size.shape[1] - 2)
    before, at, after = (size[np.arange(len(peak)), peak + k] for k in (-1, 0, 1))
    bent = before - 2 * at + after
    fine = np.where(bent < 0, 0.5 * (before - after) / np.minimum(bent, -1e-9), 0.0)
    where = out[0] + (peak + 0.5 + np.clip(fine, -0.5, 0.5)) * _STEP
    return np.where(at * 4 >= _LEAST, where, np.nan)
