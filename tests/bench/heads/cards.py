"""Other cards in the place of the plain one: its picture, multiplied by what their patches reflect against its grey."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np

from tests.bench.heads.plates import Shot
from tests.bench.spectra import IDEAL, MOSAIC, chart, light, raw
from tracker.maths.colorimetry import Floats
from tracker.measure.reading import Point
from tracker.measure.reference_card.kind import Corners

GREY = 0.18
DARK = 0.05
STRIP = (0.90, GREY, 0.035)
KINDS = ("grey18", "steps2", "steps3", "chart24")
"""Plain grey; grey above and dark below; white, grey and black; a chart of 24 patches, lying on its side."""
_FRAME = 0.035  # round the patches of a chart, each 84 % of its cell, as on the cards of the sample photos
_PATCH = 0.84
_FINE = 4  # samples across a pixel, so that edges are mixed
_CAMERAS = {"ideal": IDEAL, "measured": MOSAIC[0]}


def corners_of(shot: Shot, kind: str) -> Corners:
    """Corners of the card of that kind, pixels, clockwise from its own top left."""
    turn = 1 if kind == "chart24" else 0  # on its side: its cells are then nearly square
    first, second, third, fourth = (_point(shot.corners[(k + turn) % 4]) for k in range(4))
    return first, second, third, fourth


def _point(xy: Floats) -> Point:
    return float(xy[0]), float(xy[1])


@cache
def patches(kind: str, spectrum: str, camera: str) -> Floats:
    """Balanced raw values of a card's patches by rows and columns, (rows, columns, 3), 1 = perfect white."""
    if kind == "chart24":
        lamp = light(spectrum)
        return raw(chart(), _CAMERAS[camera], lamp, lamp).reshape(4, 6, 3)
    steps = {"grey18": (GREY,), "steps2": (GREY, DARK), "steps3": STRIP}[kind]
    return np.repeat(np.array(steps)[:, None, None], 3, axis=2)


def with_card(picture: Floats, shot: Shot, kind: str, spectrum: str, camera: str) -> Floats:
    """The plate with a card of another kind where the plain one is.

    Parameters
    ----------
    picture : (h, w, 3), balanced raw values
    spectrum, camera : str, of the head
    """
    if kind == "grey18":
        return picture
    height, width = picture.shape[:2]
    left, top = np.maximum(np.floor(shot.corners.min(axis=0)).astype(int) - 1, 0)
    right, bottom = np.minimum(np.ceil(shot.corners.max(axis=0)).astype(int) + 1, (width, height))
    xs, ys = (
        start + (np.arange((stop - start) * _FINE) + 0.5) / _FINE for start, stop in ((left, right), (top, bottom))
    )
    places = np.stack(np.meshgrid(xs, ys), axis=-1)
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    onto = cv2.getPerspectiveTransform(np.array(corners_of(shot, kind), np.float32), square)
    u, v = np.moveaxis(cv2.perspectiveTransform(places.reshape(1, -1, 2), onto).reshape(places.shape), -1, 0)
    values = patches(kind, spectrum, camera)
    rows, columns = values.shape[:2]
    across, down = u * columns, v * rows
    shown = values[np.clip(down.astype(int), 0, rows - 1), np.clip(across.astype(int), 0, columns - 1)] / GREY
    if kind == "chart24":
        beside = np.maximum(np.abs(across % 1 - 0.5), np.abs(down % 1 - 0.5)) > _PATCH / 2
        shown[beside] = _FRAME / GREY
    shown[(u < 0) | (u >= 1) | (v < 0) | (v >= 1)] = 1.0
    fine = shown.reshape(bottom - top, _FINE, right - left, _FINE, 3).mean(axis=(1, 3))
    out = picture.copy()
    out[top:bottom, left:right] *= fine
    return out
