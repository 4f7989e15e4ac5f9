"""The rendered sample photos: the demo's lie inside the program, the others with their makers; one truth for all."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from tracker.measure import measure_photo
from tracker.measure.marks_file import parse_marks
from tracker.measure.reading import Marks, PhotoReading
from tracker.photo import read_photo

FOLDER = Path(__file__).parents[1] / "sample_images"
DEMO_PHOTOS = Path(__file__).parents[1] / "tracker" / "workflow" / "demo_photos"
SAMPLES: list[dict[str, Any]] = json.loads((FOLDER / "truth.json").read_text("utf-8"))["photos"]


KEPT: dict[str, Marks] = {
    Path(each.photo).name: each.marks for each in parse_marks((FOLDER / "marks.json").read_text("utf-8")).photos
}
"""Outline and axis of the photos with a plain grey card, as they are kept for the command line, by name."""


@cache
def ribbon_reading(file: str) -> PhotoReading:
    """Along the line whose true colours are known, as wide as that."""
    truth = next(photo for photo in SAMPLES if photo["file"] == file)
    card, path = truth["card"], tuple(map(tuple, truth["path"]))
    return _reading(file, Marks(card["kind"], tuple(map(tuple, card["corners"])), path, truth["width"]))


@cache
def whole_reading(file: str) -> PhotoReading:
    """Over the whole hair, inside the kept outline."""
    return _reading(file, KEPT[file])


def _reading(file: str, marks: Marks) -> PhotoReading:
    return measure_photo(read_photo(sample_photo(file).read_bytes()), marks)


def sample_photo(file: str) -> Path:
    """Where the photo of that name lies."""
    return next(path for folder in (DEMO_PHOTOS, FOLDER) if (path := folder / file).is_file())


def sample_photos() -> list[Path]:
    """All of them, by name."""
    return sorted((sample_photo(photo["file"]) for photo in SAMPLES), key=lambda path: path.name)
