"""Running the command line in a test: photos and marks files for it, and the contract that its result must keep."""

from __future__ import annotations

import io
import json
import math
from contextlib import redirect_stderr, redirect_stdout
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.photo_samples import exif, jpeg
from tests.scenes import CARD, OUTLINE, PATH, photograph, scene
from tracker.cli import main
from tracker.measure.reading import REGIONS

Json = dict[str, Any]


def picture(**options: Any) -> np.ndarray:
    return photograph(scene(**options)).encoded


@cache
def plain() -> bytes:
    """A photo with which nothing is wrong."""
    return jpeg(picture())


@cache
def before() -> bytes:
    """A photo from a camera that says its name."""
    return jpeg(picture(), exif=exif(base={0x010F: "Maker", 0x0110: "Model"}))


@cache
def after() -> bytes:
    """The same hair with lighter ends, from the same camera."""
    return jpeg(picture(tip=(70.0, 4.0, 24.0), seed=5), exif=exif(base={0x010F: "Maker", 0x0110: "Model"}))


def entry(photo: str, **changed: Any) -> Json:
    """A photo of a marks file, with the card's corners and the hair's outline unless told otherwise."""
    return {"photo": photo, "card": {"kind": "grey18", "corners": CARD}, "path": PATH, "outline": OUTLINE, **changed}


def write_marks(folder: Path, *entries: Json) -> Path:
    path = folder / "marks.json"
    path.write_text(json.dumps({"photos": list(entries)}), "utf-8")
    return path


def run(*words: str | Path) -> tuple[int, str, str]:
    """Run one command; gives status, output and errors."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            status = main([str(word) for word in words])
        except SystemExit as end:
            status = int(end.code or 0)
    return status, out.getvalue(), err.getvalue()


def require_refusal(found: tuple[int, str, str], code: str, *words: str) -> None:
    status, out, err = found
    assert (status, out) == (2, "")
    assert err.startswith(f"{code}: ")
    assert err.count("\n") == 1
    assert err.endswith("\n")
    for word in words:
        assert word in err


def is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def require(shape: object, value: object, place: str = "RESULT") -> None:
    """Check a value: against a type, a tuple of choices, a list of one or more shapes, or keys that must be there."""
    if isinstance(shape, dict):
        assert isinstance(value, dict), place
        for key, inner in shape.items():
            assert key in value, f"{place}.{key} is missing"
            require(inner, value[key], f"{place}.{key}")
    elif isinstance(shape, list):
        assert isinstance(value, list), place
        assert len(shape) in (1, len(value)), f"{place} has {len(value)} elements"
        for number, element in enumerate(value):
            require(shape[number % len(shape)], element, f"{place}[{number}]")
    elif shape is float:
        assert is_number(value), f"{place} is {value!r}"
    elif isinstance(shape, tuple):
        assert value in shape, f"{place} is {value!r}"
    else:
        assert type(value) is shape, f"{place} is {value!r}"


POINT = [float, float]
TRIPLE = [float, float, float]
CHECK_SHAPE = {"name": str, "ok": bool, "value": float, "limit": float, "unit": str, "advice": str}
CARD_SHAPE = {
    "kind": ("grey18", "steps2", "steps3", "chart24"),
    "corners": [POINT, POINT, POINT, POINT],
    "lab": TRIPLE,
    "clipped": float,
    "gradient": float,
}
REGION_SHAPE = {
    "lab": TRIPLE,
    "u": TRIPLE,
    "level": {"value": float, "u": float, "text": str},
    "warmth": {"value": float, "u": float, "tone": ("cool", "neutral", "warm")},
    "pixels": int,
}


def require_result(found: Json) -> None:
    require({"method_version": str, "photos": [{"photo": str, "ok": bool, "checks": [CHECK_SHAPE]}]}, found)
    for photo in found["photos"]:
        if photo["ok"]:
            assert photo["error"] is None
            require({"card": CARD_SHAPE, "regions": dict.fromkeys(REGIONS, REGION_SHAPE)}, photo)
        else:
            require({"error": {"code": str, "message": str}, "regions": {}}, photo)
            assert photo["regions"] == {}
            if photo["card"] is not None:
                require(CARD_SHAPE, photo["card"])
