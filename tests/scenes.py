"""Drawn photos whose true colours are known: a grey card and a head of hair before a busy wall.

Strands vary in lightness from root to tip and across; the truth is what the strands were drawn with, not what any
step of the measurement makes of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from tests.srgb import encode
from tracker.maths.colorimetry import lab_to_linear
from tracker.maths.rgb_space import SRGB, RgbSpace
from tracker.measure.reading import CardSummary, Marks

CARD = ((640.0, 520.0), (800.0, 530.0), (792.0, 720.0), (634.0, 708.0))
PATH = ((300.0, 150.0), (310.0, 450.0), (300.0, 700.0), (320.0, 940.0))
WIDTH = 90.0
"""Of a ribbon along `PATH`."""

MIDDLE, ACROSS, DOWN = (305.0, 550.0), 170.0, 510.0
"""Of the drawn hair: an ellipse, where the photo has its usual size."""


def hair_outline(height: int = 1100) -> tuple[tuple[float, float], ...]:
    """Sixteen points about the hair that is drawn in a scene of that height."""
    down = height // 2 - (MIDDLE[1] - DOWN)
    return tuple(
        (MIDDLE[0] + ACROSS * float(np.cos(turn)), height // 2 + down * float(np.sin(turn)))
        for turn in np.linspace(0, 2 * np.pi, 17)[:-1]
    )


OUTLINE = hair_outline()

_STRIP = 16  # rows


@dataclass(frozen=True, eq=False)
class Drawn:
    """A picture as the measurement wants it."""

    encoded: np.ndarray
    space: RgbSpace = SRGB
    warnings: tuple[str, ...] = ()


@lru_cache(maxsize=8)
def _strands(width: int, height: int, seed: int) -> np.ndarray:
    noise = np.random.default_rng(seed).normal(size=(height, width))
    strands = cv2.GaussianBlur(noise, (0, 0), sigmaX=1.5, sigmaY=25)
    return _frozen(strands / strands.std())


@lru_cache(maxsize=4)
def _wall(width: int, height: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    wall = cv2.GaussianBlur(rng.normal(size=(height, width, 3)), (0, 0), 6)
    wall *= 0.10
    wall += np.array([0.42, 0.38, 0.33])
    wall += 0.10 * np.sin(np.arange(width) / 17)[None, :, None]
    return _frozen(np.maximum(wall, 0.02, out=wall))


@lru_cache(maxsize=4)
def _noise(shape: tuple[int, ...], seed: int) -> np.ndarray:
    return _frozen(np.random.default_rng(seed).normal(size=shape))


def _frozen(array: np.ndarray) -> np.ndarray:
    """The array, read-only: tests share it."""
    array.flags.writeable = False
    return array


def scene(
    root: tuple[float, float, float] = (28.0, 6.0, 12.0),
    tip: tuple[float, float, float] = (55.0, 6.0, 24.0),
    *,
    size: tuple[int, int] = (900, 1100),
    card: tuple[tuple[float, float], ...] = CARD,
    reflectance: float = 0.18,
    seed: int = 1,
    spread: float = 3.0,
) -> np.ndarray:
    """Linear scene (h, w, 3), 1.0 = perfect white, under the standard white."""
    return _scene(tuple(root), tuple(tip), tuple(size), tuple(map(tuple, card)), reflectance, seed, spread).copy()


@lru_cache(maxsize=4)
def _scene(
    root: tuple[float, float, float],
    tip: tuple[float, float, float],
    size: tuple[int, int],
    card: tuple[tuple[float, float], ...],
    reflectance: float,
    seed: int,
    spread: float,
) -> np.ndarray:
    width, height = size
    linear = _wall(width, height, seed).copy()
    hair = np.zeros((height, width), np.uint8)
    cv2.ellipse(hair, (round(MIDDLE[0]), height // 2), (round(ACROSS), height // 2 - 40), 0, 0, 360, 1, -1)
    rows, columns = np.nonzero(hair)
    share = np.clip((rows - 100) / (height - 200), 0, 1)[:, None]
    lab = (1 - share) * np.array(root) + share * np.array(tip)
    lab[:, 0] = np.clip(lab[:, 0] + spread * _strands(width, height, seed + 100)[rows, columns], 2, 98)
    for part in (slice(first, first + 10_000) for first in range(0, len(lab), 10_000)):  # as with strips
        linear[rows[part], columns[part]] = lab_to_linear(lab[part])
    mask = np.zeros((height, width), np.uint8)
    cv2.fillConvexPoly(mask, np.rint(np.asarray(card)).astype(np.int32), 1)
    linear[mask > 0] = reflectance
    return _frozen(linear)


@lru_cache(maxsize=8)
def off_balance(gains: tuple[float, float, float]) -> np.ndarray:
    """From linear sRGB to linear sRGB of a camera whose sensors are out of balance, (3, 3).

    Sensors are the sharpened responses of CAT16 (Li et al. 2017, Color Res Appl 42:703; CIE 248:2022), as
    colour-science has them.
    """
    if len(set(gains)) == 1:
        return _frozen(np.eye(3) * gains[0])
    from tests.photo_samples import colour  # imported late: takes a second

    sensors = colour.adaptation.CAT_CAT16 @ colour.models.RGB_COLOURSPACE_sRGB.matrix_RGB_to_XYZ
    scale = (sensors @ np.asarray(gains)) / sensors.sum(axis=1)
    return _frozen(np.linalg.solve(sensors, scale[:, None] * sensors))


def photograph(
    linear: np.ndarray,
    *,
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0),
    noise: float = 0.002,
    bits: int = 8,
    seed: int = 2,
) -> Drawn:
    """The scene as an sRGB-encoded photo whose greys have these gains, from a camera that is off balance by that."""
    top = 2**bits - 1
    cast = off_balance(gains)
    codes = np.empty(linear.shape, np.uint8 if bits == 8 else np.uint16)
    # a strip at a time stays in the processor's cache
    for rows in (slice(first, first + _STRIP) for first in range(0, len(linear), _STRIP)):
        lit = linear[rows] @ cast.T
        if noise:
            lit = lit + _noise(linear.shape, seed)[rows] * noise * np.sqrt(np.maximum(lit, 0.01))
        codes[rows] = np.clip(np.rint(encode(lit) * top), 0, top)
    return Drawn(codes)


def marks(kind: str = "grey18", corners: tuple[tuple[float, float], ...] | None = CARD) -> Marks:
    """Marks of the whole hair of `scene`."""
    return Marks(kind, corners, PATH, None, outline=OUTLINE)  # type: ignore[arg-type]


def ribbon(kind: str = "grey18", corners: tuple[tuple[float, float], ...] | None = CARD) -> Marks:
    """Marks of a ribbon down the hair of `scene`."""
    return Marks(kind, corners, PATH, WIDTH)  # type: ignore[arg-type]


def card_of(kind: str = "grey18", grey: float = 0.18) -> CardSummary:
    """A card of that kind as a record has it, in even light."""
    return CardSummary(kind, CARD, (49.5, 0.0, 0.0), 0.0, 0.0, grey)  # type: ignore[arg-type]
