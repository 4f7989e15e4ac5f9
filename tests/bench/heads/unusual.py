"""Photos that are not one head of loose hair from behind: hats, two heads, brushes, tails, faces. See README.md."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image

from tracker.measure.reading import Marks, Point
from tracker.photo import Photo, decode_photo

FOLDER = Path(__file__).parent / "unusual"


@dataclass(frozen=True, slots=True, eq=False)
class Unusual:
    """One photo.

    Attributes
    ----------
    name : str, what is unusual and a number
    corners : of the card, pixels
    path : down the hair from root to tip, pixels
    """

    name: str
    corners: tuple[Point, Point, Point, Point]
    path: tuple[Point, ...]

    @property
    def picture(self) -> Photo:
        """The photo as the program opens it."""
        return decode_photo((FOLDER / f"{self.name}.jpg").read_bytes())

    @property
    def marks(self) -> Marks:
        """The whole hair along the path, its outline to be found."""
        return Marks("grey18", self.corners, self.path, None)

    def hair(self) -> np.ndarray:
        """True on the pixels that show hair, (h, w); kept for brushes and wet hair only."""
        with Image.open(FOLDER / f"{self.name}.png") as mask:
            return np.asarray(mask, bool)


@cache
def unusual() -> dict[str, Unusual]:
    """All of them by name."""
    rows = json.loads((FOLDER / "photos.json").read_text("utf-8"))
    found = {}
    for row in rows:
        first, second, third, fourth = ((float(x), float(y)) for x, y in row["corners"])
        path = tuple((float(x), float(y)) for x, y in row["path"])
        found[row["name"]] = Unusual(row["name"], (first, second, third, fourth), path)
    return found
