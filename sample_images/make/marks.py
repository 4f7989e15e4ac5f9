"""Write the marks files from the truth: python marks.py FOLDER (holding truth.json)

marks.json holds every photo with a plain grey card: its corners as the truth has them, the outline of the whole hair as
the program finds it along the true path, and its axis from root to tip. Somebody looks at each outline before it is
kept. before.json and after.json hold the daylight pair of the first client and leave the outline to be found.
photos.json is the list of the demo: the photos with a plain grey card by daylight, to be put beside them in
tracker/workflow/demo_photos. Units: pixels, origin at the top-left corner of the top-left pixel.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from tracker.measure.hair import find_hair, suggest_axis

NOTED = {"D65": "daylight", "LED-B2": "salon lamps"}
"""How a person would note the illuminants that the photos were drawn under."""

Points = list[list[int]]

DEMO = Path(__file__).resolve().parents[2] / "tracker" / "workflow" / "demo_photos"
ABOUT = ("file", "client", "role", "months", "light", "card")
"""What the demo is told of a photo: all of the truth but the truth; the hair's marks come with it."""


def place_of(folder: Path, file: str) -> Path:
    """Where the photo of that name lies: in the folder, or beside the demo's list."""
    return folder / file if (folder / file).exists() else DEMO / file


def hair_marks(folder: Path, entry: dict[str, Any]) -> dict[str, Points]:
    """Outline of the whole hair, and the axis inside it."""
    codes = np.asarray(Image.open(place_of(folder, entry["file"])))
    mask = find_hair(codes, entry["card"]["corners"], entry["path"])
    return {"outline": whole_pixels(mask.outline().points), "path": whole_pixels(suggest_axis(mask))}


def whole_pixels(points: tuple[tuple[float, float], ...]) -> Points:
    """Points as short numbers."""
    return [[round(x), round(y)] for x, y in points]


def mark(folder: Path, entry: dict[str, Any], hair: dict[str, Any]) -> dict[str, Any]:
    """The marks of one photo, out of its entry in truth.json; its place is told from the folder of the marks."""
    place = Path(os.path.relpath(place_of(folder, entry["file"]), folder.resolve())).as_posix()
    return {"photo": place, "light": NOTED[entry["light"]], "card": entry["card"], **hair}


def write(path: Path, entries: list[dict[str, Any]]) -> None:
    """One line a photo."""
    text = ",\n".join("  " + json.dumps(entry) for entry in entries)
    path.write_text('{"photos": [\n' + text + "\n]}\n")


def main() -> None:
    """Write marks.json, before.json, after.json and photos.json."""
    folder = Path(sys.argv[1]).resolve()
    entries = json.loads((folder / "truth.json").read_text())["photos"]
    plain = [e for e in entries if e["card"]["kind"] == "grey18"]
    hair = {e["file"]: hair_marks(folder, e) for e in plain}
    write(folder / "marks.json", [mark(folder, e, hair[e["file"]]) for e in plain])
    for name in ("before", "after"):
        found = [
            mark(folder, e, {"path": hair[e["file"]]["path"], "hair": "whole"})
            for e in plain
            if e["file"] == f"noor_{name}_daylight.jpg"
        ]
        write(folder / f"{name}.json", found)
    demo = [{**{key: e[key] for key in ABOUT}, **hair[e["file"]]} for e in plain if e["light"] == "D65"]
    write(folder / "photos.json", demo)


if __name__ == "__main__":
    main()
