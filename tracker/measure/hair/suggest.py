"""A first path down the hair, for a person to correct.

Hair is where the fine texture is. The path runs down the middle of the largest textured region, away from the card.
"""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reading import Point

_WORK_EDGE = 480  # pixels of the longer side while searching
_POINTS = 5
_WIDTH_SHARE = 0.22  # of the hair's width


def suggest_path(encoded: np.ndarray, card: tuple[Point, ...] | None = None) -> tuple[tuple[Point, ...], float]:
    """Points from root to tip and a width, in pixels.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    card : corners of the card, pixels, kept out of the search, or None

    Returns
    -------
    five points from top to bottom, and the width; the middle of the photo where no hair was found
    """
    height, width = encoded.shape[:2]
    shrink = min(1.0, _WORK_EDGE / max(height, width))
    size = max(8, round(width * shrink)), max(8, round(height * shrink))
    small = cv2.resize(encoded, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    hair = _textured(small, None if card is None else np.asarray(card, float) * shrink)
    if hair is None:
        x = width / 2
        path = tuple((x, float(y)) for y in np.linspace(0.25, 0.8, _POINTS) * height)
        return path, max(12.0, 0.08 * width)
    rows, centres, spans = _middle_line(hair)
    wanted = np.linspace(rows[0] + 0.06 * (rows[-1] - rows[0]), rows[0] + 0.97 * (rows[-1] - rows[0]), _POINTS)
    x = np.interp(wanted, rows, centres)
    points = np.stack([x, wanted], -1) / shrink
    points = np.clip(points, 1, [width - 1, height - 1])
    ribbon = max(12.0, _WIDTH_SHARE * float(np.median(spans)) / shrink)
    return tuple((float(px), float(py)) for px, py in points), ribbon


def _textured(small: np.ndarray, card: Floats | None) -> np.ndarray | None:
    """Mask of the largest region with fine texture, or None."""
    top = 65535.0 if small.max() > 255 else 255.0
    grey = np.log2(small.mean(axis=2) / top + 0.02)
    fine = np.abs(grey - cv2.GaussianBlur(grey, (0, 0), 2.0))
    energy = cv2.GaussianBlur(fine, (0, 0), max(small.shape[:2]) / 60)
    if card is not None:
        grown = card.mean(axis=0) + (card - card.mean(axis=0)) * 1.25
        cv2.fillConvexPoly(energy, np.rint(grown).astype(np.int32), 0.0)
    codes = np.clip(energy / max(float(energy.max()), 1e-6) * 255, 0, 255).astype(np.uint8)
    _, mask = cv2.threshold(codes, 0, 1, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((11, 11), np.uint8))
    # a head of hair is broad; stands, plants and bottles are not
    broad = max(5, round(0.16 * small.shape[1]))
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (broad, broad)))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    if count < 2:
        return None
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    if stats[largest, cv2.CC_STAT_AREA] < 0.02 * mask.size or stats[largest, cv2.CC_STAT_HEIGHT] < 20:
        return None
    return np.asarray(labels == largest)


def _middle_line(mask: np.ndarray) -> tuple[Floats, Floats, Floats]:
    """Rows of a region, the smoothed middle of each, and its width."""
    rows = np.flatnonzero(mask.any(axis=1))
    columns = np.arange(mask.shape[1])
    centres = np.array([np.median(columns[mask[row]]) for row in rows])
    spans = np.array([float(np.ptp(columns[mask[row]])) for row in rows])
    window = max(3, len(rows) // 6) | 1
    padded = np.pad(centres, window // 2, mode="edge")
    return rows.astype(float), np.convolve(padded, np.full(window, 1 / window), "valid"), spans
