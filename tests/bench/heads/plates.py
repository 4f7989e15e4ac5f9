"""The kept heads: what is known of each, and the plates of its photos."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from tests.bench.heads.codec import read_plate
from tracker.maths.colorimetry import Floats

PLATES = Path(__file__).parent / "plates"
CORE, MEAN = "core", "mean"
"""What the true colour of a band averages: hair from the 10th to the 90th percentile of luminance, or all of it."""


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """One photo before it is developed.

    Attributes
    ----------
    name : str, of its files
    number : int, 0, 1 or 2 among the photos of its state
    state : int, 0 before, 1 after
    corners : (4, 2), of the card, pixels, clockwise from its own top left
    path : (k, 2), down the hair from root to tip, pixels
    """

    name: str
    number: int
    state: int
    corners: Floats
    path: Floats

    def raw(self) -> Floats:
        """Balanced raw values before the camera's matrix, (h, w, 3), 1 = perfect white."""
        return read_plate(PLATES / f"{self.name}.webp")

    def hair(self) -> np.ndarray:
        """True on the pixels that show hair, (h, w)."""
        with Image.open(PLATES / f"{self.name}.png") as mask:
            return np.asarray(mask, bool)


@dataclass(frozen=True, slots=True, eq=False)
class Head:
    """One invented head in two states.

    Attributes
    ----------
    about : what was drawn: name, kind (what was done), changed, level, length (cm), density, wave, parted, light,
        spectrum (a CIE illuminant), camera, busy and wall, cape, held (the card in the hand)
    matrix : (3, 3), of its camera in its light, from balanced raw to linear sRGB primaries
    shots : its photos, before and after, up to three of each
    """

    about: dict[str, Any]
    matrix: Floats
    shots: tuple[Shot, ...]

    @property
    def name(self) -> str:
        """Its number as two digits."""
        return str(self.about["name"])

    @property
    def changed(self) -> bool:
        """True where something was done to the hair."""
        return bool(self.about["changed"])

    def truth(self, band: str, part: str = CORE) -> Floats:
        """CIELAB of a band before and after, (2, 3); the whole width of the hair, mean over several lays."""
        return np.array(self.about["truth"][part][band])

    def change(self, band: str, part: str = CORE) -> Floats:
        """True difference of L*, a*, b*, after less before, (3,); exactly 0 for an unchanged head."""
        before, after = self.truth(band, part)
        return np.asarray(after - before)


@cache
def heads() -> tuple[Head, ...]:
    """All of them."""
    kept = json.loads((PLATES / "heads.json").read_text("utf-8"))
    return tuple(_head(row, kept["matrices"]) for row in kept["heads"])


def _head(row: dict[str, Any], matrices: dict[str, Any]) -> Head:
    shots = tuple(
        Shot(each["name"], int(each["name"][-1]), each["state"], np.array(each["corners"]), np.array(each["path"]))
        for each in row["photos"]
    )
    return Head(row, np.array(matrices[f"{row['spectrum']}|{row['camera']}"]), shots)
