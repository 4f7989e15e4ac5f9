"""Pictures for people: what was measured, and both photos under the same light."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths import polyline
from tracker.maths.colorimetry import linear_to_lab, luminance
from tracker.maths.rgb_space import SRGB
from tracker.measure import Picture
from tracker.measure.balance import apply
from tracker.measure.hair import BANDS, KEPT, clipped_codes, select_body
from tracker.measure.reading import Correction, Marks, PhotoReading, Point
from tracker.measure.way import Way, way_over
from tracker.words import REGION_WORDS

_WHITE = (255, 255, 255)
_DARK = (30, 30, 30)
_LEFT_OUT = (131, 131, 131)


def balanced_picture(picture: Picture, correction: Correction, max_edge: int) -> np.ndarray:
    """The photo as it would look under the standard white, (h, w, 3) uint8 sRGB.

    Parameters
    ----------
    correction : from the photo's own card
    max_edge : int, longest side of the result, pixels

    Notes
    -----
    Reduced in linear light: an average of encoded values would be too dark at every edge.
    """
    linear = np.asarray(picture.space.linear(_halved(picture.encoded, max_edge)), np.float32)
    height, width = linear.shape[:2]
    shrink = min(1.0, max_edge / max(height, width))
    if shrink < 1:
        size = max(1, round(width * shrink)), max(1, round(height * shrink))
        linear = cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
    return SRGB.encode(apply(correction, linear))


def _halved(encoded: np.ndarray, max_edge: int) -> np.ndarray:
    """Every n-th pixel of a photo that is far larger than needed."""
    step = max(1, max(encoded.shape[:2]) // (2 * max_edge))
    return encoded[::step, ::step]


def measured_picture(picture: Picture, marks: Marks, reading: PhotoReading, max_edge: int) -> np.ndarray:
    """The balanced photo with the card, the bands and the left-out pixels drawn on it, (h, w, 3) uint8.

    Left-out pixels inside a band are mid-grey; a dash pattern and a letter tell the bands apart.
    """
    canvas = balanced_picture(picture, reading.correction, max_edge)
    shrink = canvas.shape[1] / picture.encoded.shape[1]
    way = way_over(picture.encoded, marks, reading.card.corners)
    _paint_left_out(canvas, picture, way, reading.correction, shrink)
    _outline(canvas, [(x * shrink, y * shrink) for x, y in reading.card.corners], dash=0)
    for band, dash in zip(BANDS, (0, 14, 5), strict=True):
        ring = _ring(way, band.start, band.stop)
        _outline(canvas, [(x * shrink, y * shrink) for x, y in ring], dash)
        corners = np.asarray(ring) * shrink
        beside = float(corners[:, 0].max()) + 8, float(corners[:, 1].mean())
        _label(canvas, REGION_WORDS[band.name], beside)
    return canvas


def _paint_left_out(canvas: np.ndarray, picture: Picture, way: Way, correction: Correction, shrink: float) -> None:
    strip = way.strip()
    linear = apply(correction, picture.space.linear(strip.codes))
    usable = strip.inside & ~clipped_codes(strip.codes)
    for band in BANDS:
        rows = strip.rows(band.start, band.stop)
        part = linear[rows]
        verdict = select_body(linear_to_lab(part), luminance(part), usable[rows], way.how)
        out = verdict != KEPT
        x = np.clip(np.rint(strip.x[rows][out] * shrink - 0.5), 0, canvas.shape[1] - 1).astype(int)
        y = np.clip(np.rint(strip.y[rows][out] * shrink - 0.5), 0, canvas.shape[0] - 1).astype(int)
        canvas[y, x] = _LEFT_OUT


def _ring(way: Way, start: float, stop: float) -> list[Point]:
    """Outline of a band in photo pixels: each row from the first to the last place that counts."""
    strip = way.strip(largest=4000)
    rows = strip.rows(start, stop)
    x, y, inside = strip.x[rows], strip.y[rows], strip.inside[rows]
    inside = inside if way.stripes is not None else np.ones_like(inside)
    kept = np.flatnonzero(inside.any(axis=1))
    first, last = inside[kept].argmax(axis=1), inside.shape[1] - 1 - inside[kept, ::-1].argmax(axis=1)
    left = zip(x[kept, first], y[kept, first], strict=True)
    right = list(zip(x[kept, last], y[kept, last], strict=True))
    return [(float(a), float(b)) for a, b in (*left, *reversed(right))]


def _outline(canvas: np.ndarray, points: list[Point], dash: int) -> None:
    """A closed line, white on dark to show on any hair; `dash` in pixels, 0 for a solid line."""
    width = max(1, round(max(canvas.shape[:2]) / 500))
    ring = np.array([*points, points[0]], float)
    reached = polyline.reached(ring)
    step = dash * width if dash else reached[-1]
    for begin in np.arange(0, reached[-1], 2 * step if dash else step):
        at = np.unique(np.r_[begin, reached[(reached > begin) & (reached < begin + step)], begin + step])
        line = polyline.places(ring, at)
        pixels = np.rint(line * 16).astype(np.int32)[:, None]
        cv2.polylines(canvas, [pixels], False, _DARK, width + 2, cv2.LINE_AA, shift=4)
        cv2.polylines(canvas, [pixels], False, _WHITE, width, cv2.LINE_AA, shift=4)


def _label(canvas: np.ndarray, text: str, at: Point) -> None:
    """Text on a dark plate, starting at a point but kept inside the picture."""
    size = max(canvas.shape[:2]) / 1400
    (width, height), base = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, size, 1)
    pad = max(3, height // 3)
    left = int(np.clip(round(at[0]), 0, max(canvas.shape[1] - width - 2 * pad, 0)))
    top = round(at[1] - height / 2) - pad
    cv2.rectangle(canvas, (left, top), (left + width + 2 * pad, top + height + base + 2 * pad), _DARK, -1)
    cv2.putText(canvas, text, (left + pad, top + pad + height), cv2.FONT_HERSHEY_SIMPLEX, size, _WHITE, 1, cv2.LINE_AA)
