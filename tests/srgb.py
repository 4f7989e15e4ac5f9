"""The sRGB curve the other way, in floats, for what tests draw; the program itself only needs codes of 8 bits."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def encode(linear: ArrayLike) -> NDArray[np.float64]:
    """sRGB-encoded values of linear light, not clipped, odd about zero (IEC 61966-2-1)."""
    v = np.asarray(linear, float)
    a = np.abs(v)
    return np.asarray(np.copysign(np.where(a <= 0.0031308, 12.92 * a, 1.055 * a ** (1 / 2.4) - 0.055), v))
