"""How a plate lies on the disk: an unfinished photo, balanced raw values before the camera's matrix, in 8 bits.

A value v of each channel, 1 for a perfect white, becomes the code ``(v / 1.25) ** (1 / 2.4)``. The codes' distance from
their grey is doubled before the file is written and halved after it is read: the file format is coarse in colour, which
would cost up to 1.1 in the change of a* and so costs up to 0.5 (first photos of heads 1, 9, 17 ... 57).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from tracker.maths.colorimetry import Floats

BRIGHTEST = 1.25
"""Brighter light burns out."""
_GAMMA = 2.4
_STRETCH = 2.0
_GREY = np.array([0.299, 0.587, 0.114])  # ITU-R BT.601, as the file format has it
_QUALITY = 78


def _stretched(codes: Floats, factor: float) -> Floats:
    grey = (codes @ _GREY)[..., None]
    return np.asarray(grey + (codes - grey) * factor)


def write_plate(raw: Floats, file: Path) -> None:
    """Write a plate.

    Parameters
    ----------
    raw : (h, w, 3), balanced raw values, 1 = perfect white
    file : Path, ending in .webp
    """
    codes = _stretched(np.clip(raw / BRIGHTEST, 0, 1) ** (1 / _GAMMA) * 255, _STRETCH)
    Image.fromarray(np.clip(codes + 0.5, 0, 255).astype(np.uint8)).save(file, quality=_QUALITY, method=6)


def read_plate(file: Path) -> Floats:
    """The balanced raw values of a plate, (h, w, 3)."""
    codes = _stretched(np.asarray(Image.open(file).convert("RGB"), float), 1 / _STRETCH)
    return np.asarray(BRIGHTEST * (np.clip(codes, 0, 255) / 255) ** _GAMMA)
