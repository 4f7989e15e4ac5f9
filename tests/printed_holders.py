"""Photos of the printed holder, drawn: the sheet as it is printed, seen by a pinhole camera, with all its truth known.

Prints: white paper reflects 0.85 and solid black 0.045 (from memory, of office paper and ink), greys lie between.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from skimage import data

from tests.photo_samples import jpeg
from tests.srgb import encode
from tracker.measure.reference_card.board import WINDOW
from tracker.report.papers import HOLDER_PAPERS, frame_on, holder_picture

Floats = NDArray[np.float64]
Light = NDArray[Any]
"""Linear light, (h, w, 3)."""

WHITE, BLACK, GREY = 0.85, 0.045, 0.18
DPI = 150
LENS = 28.0 / math.hypot(36.0, 24.0)
"""Focal length of a phone's main lens, in diagonals of the photo: common practice, no source."""
BACKGROUNDS = ("astronaut", "chelsea", "coffee", "brick", "grass", "gravel", "rocket", "page")


def linear(encoded: Floats) -> Floats:
    """Linear light of sRGB-encoded values (IEC 61966-2-1)."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


@dataclass(frozen=True)
class View:
    """How a holder is photographed.

    Attributes: sheet; pixels a marker's side is long; size of the photo, (width, height); where the frame's middle
    lies, in shares of the photo; turn in the picture, tilt away from the camera and the way of that tilt, degrees;
    blur, pixels; grain, codes; quality of the JPEG; exposure; log2 of the light from the photo's left to its right;
    what is behind; exponent of the phone's contrast, about the grey; how far the sheet's left and right edge bend away
    from the camera, mm.
    """

    paper: str = "pocket-a4"
    marker: float = 50.0
    size: tuple[int, int] = (1125, 1500)
    middle: tuple[float, float] = (0.5, 0.5)
    turn: float = 0.0
    tilt: float = 0.0
    tilt_to: float = 0.0
    blur: float = 0.8
    grain: float = 2.0
    quality: int = 90
    exposure: float = 1.0
    slope: float = 0.0
    behind: str = ""
    contrast: float = 1.0
    bend: float = 0.0
    seed: int = 1


@dataclass(frozen=True)
class Taken:
    """A drawn photo and its truth: corners of the frame (4, 2), and the length of a pixel at its middle, mm."""

    encoded: NDArray[np.uint8]
    corners: Floats
    mm_per_pixel: float


@lru_cache(maxsize=4)
def printed(paper: str, grey: float = GREY) -> Floats:
    """Reflectance of the sheet with a grey card in its window, (h, w) at `DPI`; of a folded one its front quarter."""
    codes = np.asarray(Image.open(BytesIO(holder_picture(paper, DPI))).convert("L"), float)
    sheet = BLACK + (WHITE - BLACK) * linear(codes / 255)
    left, top, right, bottom = frame_on(paper)
    width, height = right - left, bottom - top
    x0, y0, x1, y1 = (
        round(value * DPI / 25.4)
        for value in (
            left + WINDOW[0] * width,
            top + WINDOW[1] * height,
            left + WINDOW[2] * width,
            top + WINDOW[3] * height,
        )
    )
    sheet[y0 : y1 + 1, x0 : x1 + 1] = grey
    if HOLDER_PAPERS[paper].folded:
        rows, columns = sheet.shape
        sheet[rows // 2 :] = np.nan
        sheet[:, : columns // 2] = np.nan
    return np.asarray(sheet)


def camera_of(view: View) -> tuple[Floats, Floats, float]:
    """The camera's matrix, the pose (3, 4) of the frame's middle before it, and the length of a pixel there, mm."""
    width, height = view.size
    focal = LENS * math.hypot(width, height)
    mm = HOLDER_PAPERS[view.paper].board.marker_mm / view.marker
    turn, tilt, to = (math.radians(angle) for angle in (view.turn, view.tilt, view.tilt_to))

    def about(angle: float) -> Floats:
        return np.array([[math.cos(angle), -math.sin(angle), 0], [math.sin(angle), math.cos(angle), 0], [0, 0, 1]])

    tilted = np.array([[1, 0, 0], [0, math.cos(tilt), -math.sin(tilt)], [0, math.sin(tilt), math.cos(tilt)]])
    rotation = about(to) @ tilted @ about(-to) @ about(turn)
    off = np.array([(view.middle[0] - 0.5) * width * mm, (view.middle[1] - 0.5) * height * mm, mm * focal])
    lens = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    return lens, np.column_stack([rotation, off]), mm


def plane_of(view: View) -> Floats:
    """The map (3, 3) of millimetres from the frame's middle, on a flat sheet, to pixels."""
    lens, pose, _ = camera_of(view)
    return np.asarray(lens @ pose[:, [0, 1, 3]])


def _strips(view: View, left: float, right: float) -> Iterator[tuple[float, float, Floats]]:
    """From left to right, flat strips of the sheet with the plane of each: mm from the frame's middle."""
    if not view.bend:
        yield left, right, plane_of(view)
        return
    lens, pose, _ = camera_of(view)
    half = (right - left) / 2
    radius = (half**2 + view.bend**2) / (2 * view.bend)
    edges = np.linspace(left, right, 17)
    for start, end in pairwise(edges):
        flat, bent = [], []
        for u, y in ((start, -100.0), (end, -100.0), (end, 100.0), (start, 100.0)):
            angle = u / radius
            flat.append((u, y))
            x, y_, w = lens @ pose @ (radius * math.sin(angle), y, radius * (1 - math.cos(angle)), 1.0)
            bent.append((x / w, y_ / w))
        yield start, end, cv2.getPerspectiveTransform(np.float32(flat), np.float32(bent))


def seen(plane: Floats, points: Floats) -> Floats:
    """Pixels of points (n, 2) of a plane."""
    return np.asarray(cv2.perspectiveTransform(np.asarray(points, float)[None], plane)[0])


def background(name: str, size: tuple[int, int]) -> Light:
    """A photo that comes with scikit-image, or an even wall, in linear light."""
    width, height = size
    if not name:
        return np.full((height, width, 3), (0.32, 0.30, 0.28), np.float32)
    picture = getattr(data, name)()
    if picture.ndim == 2:
        picture = np.repeat(picture[..., None], 3, axis=2)
    return _LINEAR[cv2.resize(picture[..., :3], size, interpolation=cv2.INTER_LINEAR)]


_LINEAR = linear(np.arange(256) / 255).astype(np.float32)


_FINE = 2  # times as many pixels along an edge before they are averaged


def onto(scene: Light, view: View) -> tuple[Light, Floats]:
    """Lay the holder into a linear scene (h, w, 3); gives the scene, and the corners (4, 2) of the frame in it."""
    left, top, right, bottom = frame_on(view.paper)
    middle = np.array([(left + right) / 2, (top + bottom) / 2])
    pixels = DPI / 25.4
    to_mm = np.array([[1 / pixels, 0, -middle[0]], [0, 1 / pixels, -middle[1]], [0, 0, 1]])
    # pixel i of the sheet covers i to i + 1; OpenCV puts its middle at i
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    size = view.size[0] * _FINE, view.size[1] * _FINE
    sheet = np.nan_to_num(printed(view.paper), nan=-1.0).astype(np.float32)
    warped = np.full(size[::-1], -1.0, np.float32)
    for start, end, plane in _strips(view, -middle[0], sheet.shape[1] / pixels - middle[0]):
        whole = np.linalg.inv(half) @ np.diag([_FINE, _FINE, 1.0]) @ plane @ to_mm @ half
        part = np.full_like(sheet, -1.0)
        columns = slice(*(round((edge + middle[0]) * pixels) for edge in (start, end)))
        part[:, columns] = sheet[:, columns]
        drawn = cv2.warpPerspective(part, whole, size, flags=cv2.INTER_LINEAR, borderValue=-1.0)
        warped = np.maximum(warped, drawn)
    there = cv2.resize((warped > 0).astype(np.float32), view.size, interpolation=cv2.INTER_AREA)
    light = cv2.resize(np.maximum(warped, 0), view.size, interpolation=cv2.INTER_AREA)
    corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)]) - middle
    return scene * (1 - there[..., None]) + light[..., None], seen(plane_of(view), corners)


_STEPS = 1 << 14


def develop(scene: Light, view: View) -> NDArray[np.uint8]:
    """What a camera makes of linear light: slope of the light, blur, contrast, grain, 8 bits, JPEG."""
    across = np.linspace(-0.5, 0.5, scene.shape[1], dtype=np.float32)[None, :, None]
    light = scene * np.exp2(view.slope * across) * np.float32(view.exposure)
    if view.blur:
        light = cv2.GaussianBlur(light, (0, 0), view.blur)
    curve = 255 * encode(np.minimum(GREY * (np.linspace(0, 1, _STEPS + 1) / GREY) ** view.contrast, 1))
    codes = curve.astype(np.float32)[(np.clip(light, 0, 1) * _STEPS + 0.5).astype(np.int32)]
    grain = np.random.default_rng(view.seed).standard_normal(codes.shape, np.float32)
    codes += np.float32(view.grain) * grain + np.float32(0.5)
    whole = np.clip(codes, 0, 255).astype(np.uint8)
    return np.asarray(Image.open(BytesIO(jpeg(whole, quality=view.quality, subsampling=2))).convert("RGB"))


def take(view: View, *, changed: Callable[[Light, Floats], None] | None = None) -> Taken:
    """The photo of a holder before a background; `changed` may paint on the linear scene, given the corners."""
    scene, corners = onto(background(view.behind, view.size), view)
    if changed is not None:
        changed(scene, corners)
    return Taken(develop(scene, view), corners, camera_of(view)[2])


def any_view(seed: int, marker: float = 50.0, **fixed: object) -> View:
    """A view at random: any sheet, background, place and turn, tilts up to 35 degrees, any light and camera."""
    rng = np.random.default_rng(seed)
    paper = str(rng.choice(list(HOLDER_PAPERS)))
    view = View(
        paper=paper,
        marker=marker,
        size=(1125, 1500) if rng.random() < 0.7 else (1500, 1125),
        middle=(float(rng.uniform(0.38, 0.62)), float(rng.uniform(0.4, 0.6))),
        turn=float(rng.normal(0, 12)),
        tilt=float(rng.uniform(0, 35)),
        tilt_to=float(rng.uniform(0, 360)),
        blur=float(rng.uniform(0.5, 1.6)),
        grain=float(rng.uniform(1, 5)),
        quality=int(rng.integers(75, 96)),
        exposure=float(2 ** rng.uniform(-1.0, 0.9)),
        slope=float(rng.normal(0, 0.6)),
        behind=str(rng.choice(BACKGROUNDS)),
        contrast=float(rng.uniform(0.9, 1.25)),
        seed=seed,
    )
    return replace(view, **fixed)  # type: ignore[arg-type]
