"""Drawn photos whose true colours are known: a grey card and a lock of hair before a busy wall.

Strands vary in lightness from root to tip and across; the truth is what the strands were drawn with, not what any
step of the measurement makes of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from tracker.maths.colorimetry import encode, lab_to_linear
from tracker.maths.rgb_space import SRGB, RgbSpace
from tracker.measure.reading import Marks

CARD = ((640.0, 520.0), (800.0, 530.0), (792.0, 720.0), (634.0, 708.0))
PATH = ((300.0, 150.0), (310.0, 450.0), (300.0, 700.0), (320.0, 940.0))
WIDTH = 90.0


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
    return strands / strands.std()


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
    rng = np.random.default_rng(seed)
    width, height = size
    wall = np.array([0.42, 0.38, 0.33]) + 0.10 * cv2.GaussianBlur(rng.normal(size=(height, width, 3)), (0, 0), 6)
    wall += 0.10 * np.sin(np.arange(width) / 17)[None, :, None]
    linear = np.maximum(wall, 0.02)
    rows = np.arange(height)
    share = np.clip((rows - 100) / (height - 200), 0, 1)
    strands = spread * _strands(width, height, seed + 100)
    lab = (1 - share)[:, None, None] * np.array(root) + share[:, None, None] * np.array(tip)
    lab = np.repeat(lab, width, axis=1)
    lab[..., 0] = np.clip(lab[..., 0] + strands, 2, 98)
    hair = np.zeros((height, width), np.uint8)
    cv2.ellipse(hair, (305, height // 2), (170, height // 2 - 40), 0, 0, 360, 1, -1)
    linear = np.where(hair[..., None] > 0, lab_to_linear(lab), linear)
    mask = np.zeros((height, width), np.uint8)
    cv2.fillConvexPoly(mask, np.rint(np.asarray(card)).astype(np.int32), 1)
    return np.where(mask[..., None] > 0, reflectance, linear)


def photograph(
    linear: np.ndarray,
    *,
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0),
    noise: float = 0.002,
    bits: int = 8,
    seed: int = 2,
) -> Drawn:
    """The scene under a coloured light, as an sRGB-encoded photo."""
    lit = linear * np.asarray(gains)
    lit = lit + np.random.default_rng(seed).normal(size=lit.shape) * noise * np.sqrt(np.maximum(lit, 0.01))
    top = 2**bits - 1
    codes = np.clip(np.rint(encode(lit) * top), 0, top)
    return Drawn(codes.astype(np.uint8 if bits == 8 else np.uint16))


def marks(kind: str = "grey18", corners: tuple[tuple[float, float], ...] | None = CARD) -> Marks:
    """Marks that fit `scene`."""
    return Marks(kind, corners, PATH, WIDTH)  # type: ignore[arg-type]
