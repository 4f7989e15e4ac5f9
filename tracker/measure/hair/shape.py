"""What a mask of a head of hair may look like, whatever its colours: one broad piece with even sides."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats

_NECK = 0.7  # of the hair's width: what is narrower under it is a neck
_BUMP = 0.25  # of the hair's height: what sticks out over less of it is a thing behind the hair
_NOTCH = 0.40  # of its height: what is missing at a side over less of it may be a painted piece
_FEWEST_ROWS = 8
_BUMP_ALLOWED = 0.06  # of its width: waves and curls do that
_WAIST_FROM, _WAIST_TO = 0.15, 0.9  # of its height: where hair that is tied is narrow
_UPPER, _LOWER = 0.35, 0.75  # of its height
_POINTS = 5
_CROWN = 0.22  # of the hair's width: from its top edge to where the partings begin, seen from behind
_CROWN_MOST = 0.20  # of its height
_TIP = 0.09  # of its height: the last of the lengths is thin


def hair_width(mask: np.ndarray) -> float:
    """Width of the broad part of a mask, pixels; 0 for an empty one.

    Parameters
    ----------
    mask : (h, w) bool
    """
    widths = mask.sum(axis=1)
    widths = widths[widths > 0]
    return float(np.quantile(widths, 0.9)) if len(widths) else 0.0


def broad(mask: np.ndarray, rest: float = 0.0) -> np.ndarray:
    """The mask without what is much narrower than the hair: a neck, a stand.

    Parameters
    ----------
    mask : (h, w) bool
    rest : float, how much of the narrow parts stays, in widths of the hair
    """
    width = hair_width(mask)
    radius = _NECK * width / 2
    edge = round(width) + 1
    # by distances: opening with a brush of seventy pixels takes longer than all the rest
    solid = np.pad(mask, edge)
    eroded = _distance(solid) > radius
    if not eroded.any():
        return np.zeros_like(mask)
    opened = _distance(~eroded) <= radius + rest * width
    return np.asarray(opened[edge:-edge, edge:-edge] & mask)


def _distance(mask: np.ndarray) -> np.ndarray:
    """How far each place of a mask is from its outside, pixels."""
    return np.asarray(cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5))


def even_sides(mask: np.ndarray) -> np.ndarray:
    """The mask without what sticks out to a side over a few rows only: a box or a bottle of the hair's colour.

    Parameters
    ----------
    mask : (h, w) bool
    """
    rows, left, right = _sides(mask)
    if len(rows) < _FEWEST_ROWS:
        return mask
    allowed = _BUMP_ALLOWED * hair_width(mask)
    window = _rows_of(_BUMP, len(rows))
    most = cv2.morphologyEx(right, cv2.MORPH_OPEN, window) + allowed
    least = cv2.morphologyEx(left, cv2.MORPH_CLOSE, window) - allowed
    columns = np.arange(mask.shape[1])[None]
    even = np.zeros_like(mask)
    even[rows] = mask[rows] & (columns <= most) & (columns >= least)
    return even


def filled_sides(mask: np.ndarray) -> np.ndarray:
    """The mask with what is missing at a side over a part of its height.

    Parameters
    ----------
    mask : (h, w) bool
    """
    rows, left, right = _sides(mask)
    if len(rows) < _FEWEST_ROWS:
        return mask
    window = _rows_of(_NOTCH, len(rows))
    # crown and tips are narrow and stay so: only what has hair above and below it is a notch
    pad = ((len(window), len(window)), (0, 0))
    most = cv2.morphologyEx(np.pad(right, pad, constant_values=-1), cv2.MORPH_CLOSE, window)
    least = cv2.morphologyEx(np.pad(left, pad, constant_values=mask.shape[1]), cv2.MORPH_OPEN, window)
    own = slice(len(window), len(window) + len(rows))
    columns = np.arange(mask.shape[1])[None]
    filled = mask.copy()
    filled[rows] |= (columns <= most[own]) & (columns >= least[own])
    return filled


def waist(mask: np.ndarray) -> float:
    """Width where a mask is narrowest between broader parts, as a share of the narrower of these parts; 1 without.

    Parameters
    ----------
    mask : (h, w) bool, with something in it
    """
    widths = mask.sum(axis=1)[mask.any(axis=1)].astype(float)
    if len(widths) < _FEWEST_ROWS:
        return 1.0
    smooth = np.convolve(np.pad(widths, 3, mode="edge"), np.full(7, 1 / 7), "valid")
    above, below = np.maximum.accumulate(smooth), np.maximum.accumulate(smooth[::-1])[::-1]
    between = slice(round(_WAIST_FROM * len(widths)), round(_WAIST_TO * len(widths)))
    return float((smooth / np.minimum(above, below))[between].min())


def fullness(mask: np.ndarray) -> float:
    """Area of a mask as a share of the area of the smallest convex shape round its largest piece; 1 for an ellipse.

    Parameters
    ----------
    mask : (h, w) bool, with something in it
    """
    rims, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    around = cv2.contourArea(cv2.convexHull(max(rims, key=cv2.contourArea)))
    return float(mask.sum() / max(around, 1.0))


def lean(mask: np.ndarray) -> float:
    """How far the lower part of a mask lies beside its upper part, in widths of the hair.

    Parameters
    ----------
    mask : (h, w) bool, with something in it
    """
    rows = np.flatnonzero(mask.any(axis=1))
    columns = np.arange(mask.shape[1])
    middles = np.array([columns[mask[row]].mean() for row in rows])
    upper = middles[: max(1, round(_UPPER * len(rows)))]
    lower = middles[min(round(_LOWER * len(rows)), len(rows) - 1) :]
    return float(abs(lower.mean() - upper.mean()) / max(hair_width(mask), 1.0))


def _sides(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows of a mask and the first and last column in each, as upright pictures of one column."""
    rows = np.flatnonzero(mask.any(axis=1))
    part = mask[rows]
    left, right = part.argmax(axis=1), part.shape[1] - 1 - part[:, ::-1].argmax(axis=1)
    return rows, left.astype(np.float32)[:, None], right.astype(np.float32)[:, None]


def _rows_of(share: float, count: int) -> np.ndarray:
    return np.ones((max(3, round(share * count)) | 1, 1), np.uint8)


def middle_line(mask: np.ndarray, points: int = _POINTS) -> Floats:
    """Points down the middle of a mask, from below the crown to above the tips, (n, 2) pixels.

    Parameters
    ----------
    mask : (h, w) bool, with something in it
    points : int
    """
    rows = np.flatnonzero(mask.any(axis=1))
    columns = np.arange(mask.shape[1]) + 0.5
    middles = np.array([columns[mask[row]].mean() for row in rows])
    window = max(3, len(rows) // 6) | 1
    smooth = np.convolve(np.pad(middles, window // 2, mode="edge"), np.full(window, 1 / window), "valid")
    height = float(np.ptp(rows)) + 1
    crown = min(_CROWN * hair_width(mask), _CROWN_MOST * height)
    wanted = np.linspace(rows[0] + crown, rows[-1] + 1 - _TIP * height, points)
    return np.stack([np.interp(wanted, rows + 0.5, smooth), wanted], -1)


def disc(radius: float) -> np.ndarray:
    """A round brush.

    Parameters
    ----------
    radius : float, pixels
    """
    reach = max(1, int(radius))
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1)))


def tidy(mask: np.ndarray, inner: np.ndarray) -> np.ndarray:
    """One piece, the one that holds most of what is surely hair, without specks, threads and holes.

    Holes are closed because nothing within the hair may go for its colour: a light or a low piece is hair.

    Parameters
    ----------
    mask, inner : (h, w) bool, what was found and what is surely hair
    """
    cleaned = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    count, pieces = cv2.connectedComponents(cleaned, connectivity=4)
    if count < 2:
        return mask
    held = np.bincount(pieces[inner], minlength=count) if inner.any() else np.bincount(pieces.ravel())
    held[0] = -1
    piece = (pieces == int(np.argmax(held))).astype(np.uint8)
    return without_holes(cv2.morphologyEx(piece, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8)) > 0)


def touching(mask: np.ndarray, around: np.ndarray) -> np.ndarray:
    """The pieces of a mask that touch a region, (h, w) bool.

    Parameters
    ----------
    mask, around : (h, w) bool
    """
    _, pieces = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    near = cv2.dilate(around.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    return np.asarray(mask & np.isin(pieces, np.unique(pieces[near & mask])))


def without_holes(mask: np.ndarray) -> np.ndarray:
    """The mask with everything it encloses.

    Parameters
    ----------
    mask : (h, w) bool
    """
    rims, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(mask.shape, np.uint8)
    cv2.drawContours(filled, rims, -1, 1, cv2.FILLED)
    return np.asarray(filled > 0)
