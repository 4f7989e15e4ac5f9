"""Rendered photos in six bands of wavelength, kept as two pictures of three bands each.

The value is the radiance factor, 1 for a perfect white in the light of the card; brighter than `BRIGHTEST` burns out.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Array = NDArray[np.float64]

BANDS: Array = np.linspace(420.0, 700.0, 6)
"""Centres of the bands, nm."""
BRIGHTEST = 1.5
GAMMA = 2.4


def write(cube: NDArray[np.floating], folder: Path, name: str) -> None:
    """Write folder/NAME_0.jpg and folder/NAME_1.jpg from a band image (h, w, 6)."""
    for half in range(2):
        values = cube[..., 3 * half : 3 * half + 3]
        dither = np.random.default_rng(1).uniform(0, 1, values.shape)
        codes = np.clip(values / BRIGHTEST, 0, 1) ** (1 / GAMMA) * 255 + dither
        picture = Image.fromarray(np.minimum(codes, 255).astype(np.uint8))
        picture.save(folder / f"{name}_{half}.jpg", quality=91, subsampling=0, optimize=True)


def read(folder: Path, name: str) -> Array:
    """The band image (h, w, 6) of a name."""
    halves = [np.asarray(Image.open(folder / f"{name}_{half}.jpg"), float) for half in range(2)]
    return np.asarray(BRIGHTEST * (np.concatenate(halves, -1) / 255) ** GAMMA)
