"""The rendered sample photos: the demo's lie inside the program, the others with their makers; one truth for all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tracker.measure.marks_file import parse_marks
from tracker.measure.reading import Marks

FOLDER = Path(__file__).parents[1] / "sample_images"
DEMO_PHOTOS = Path(__file__).parents[1] / "tracker" / "workflow" / "demo_photos"
SAMPLES: list[dict[str, Any]] = json.loads((FOLDER / "truth.json").read_text("utf-8"))["photos"]


def kept_marks() -> dict[str, Marks]:
    """The outlines and axes of the photos with a plain grey card, as they are kept for the command line, by name."""
    listed = parse_marks((FOLDER / "marks.json").read_text("utf-8")).photos
    return {Path(each.photo).name: each.marks for each in listed}


def sample_photo(file: str) -> Path:
    """Where the photo of that name lies."""
    return next(path for folder in (DEMO_PHOTOS, FOLDER) if (path := folder / file).is_file())


def sample_photos() -> list[Path]:
    """All of them, by name."""
    return sorted((sample_photo(photo["file"]) for photo in SAMPLES), key=lambda path: path.name)
