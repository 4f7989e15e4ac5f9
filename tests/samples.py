"""The rendered sample photos: the demo's lie inside the program, the others with their makers; one truth for all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parents[1] / "sample_images"
DEMO_PHOTOS = Path(__file__).parents[1] / "tracker" / "workflow" / "demo_photos"
SAMPLES: list[dict[str, Any]] = json.loads((FOLDER / "truth.json").read_text("utf-8"))["photos"]


def sample_photo(file: str) -> Path:
    """Where the photo of that name lies."""
    return next(path for folder in (DEMO_PHOTOS, FOLDER) if (path := folder / file).is_file())


def sample_photos() -> list[Path]:
    """All of them, by name."""
    return sorted((sample_photo(photo["file"]) for photo in SAMPLES), key=lambda path: path.name)
