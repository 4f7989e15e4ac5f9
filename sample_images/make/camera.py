"""What the camera adds after the lens: sensor noise, and the tone of a phone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ELECTRONS = 12000
"""Of a perfect white, in each pixel."""

_READ = 3e-4  # of a perfect white, standard deviation of reading a pixel


def noise(linear: Array, electrons: float = ELECTRONS) -> Array:
    """Standard deviation of the sensor's noise in linear light."""
    return np.sqrt(np.clip(linear, 0, None) / electrons + _READ**2)


def tone(linear: Array, strength: float) -> Array:
    """sRGB encoding, with a phone's contrast curve and saturation; weaker than the light where `strength` < 0."""
    luma = linear @ np.array([0.2126, 0.7152, 0.0722])
    linear = luma[..., None] + (linear - luma[..., None]) * (1.0 + 0.10 * strength)
    s = np.clip(linear, 0.0, 1.0)
    s = np.where(s < 0.0031308, 12.92 * s, 1.055 * s ** (1 / 2.4) - 0.055)
    return s - 0.015 * strength * np.sin(2 * np.pi * s)


def untone(photo: NDArray[np.uint8]) -> Array:
    """Linear light of an sRGB photo without such a tone (IEC 61966-2-1)."""
    s = photo / 255.0
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)
