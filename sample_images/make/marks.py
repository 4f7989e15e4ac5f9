"""Write the marks files from the truth: python marks.py FOLDER (holding truth.json)

marks.json holds every photo with a plain grey card: its corners as the truth has them, the outline of the whole hair as
the program finds it along the true path, and its axis from root to tip. Somebody looks at each outline before it is
kept. before.json and after.json hold the daylight pair of the first client, two_part.json the same pair with a two-part
card, and leave the outline to be found. photos.json is the list of the demo: the photos by daylight with a plain grey
card, or with a two-part card where two_part.py made one for the demo, to be put beside them in
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

HERE = Path(__file__).resolve().parent

FOUND = {
    "before": ["noor_before_daylight.jpg"],
    "after": ["noor_after_daylight.jpg"],
    "two_part": ["noor_before_two_part.jpg", "noor_after_two_part.jpg"],
}
"""Marks files that leave the outline to be found, with their photos."""

DEMO = HERE.parents[1] / "tracker" / "workflow" / "demo_photos"
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
    """Write marks.json, before.json, after.json, two_part.json and photos.json."""
    folder = Path(sys.argv[1]).resolve()
    entries = {e["file"]: e for e in json.loads((folder / "truth.json").read_text())["photos"]}
    plain = [e for e in entries.values() if e["card"]["kind"] == "grey18"]
    hair = {e["file"]: hair_marks(folder, e) for e in plain}
    shots = json.loads((HERE / "two_part.json").read_text())
    hair |= {f"{shot['name']}.jpg": hair[f"{shot['of']}.jpg"] for shot in shots}  # the hair is the same
    write(folder / "marks.json", [mark(folder, e, hair[e["file"]]) for e in plain])
    for name, files in FOUND.items():
        found = [mark(folder, entries[file], {"path": hair[file]["path"], "hair": "whole"}) for file in files]
        write(folder / f"{name}.json", found)
    instead = {f"{shot['of']}.jpg": f"{shot['name']}.jpg" for shot in shots if shot.get("demo")}
    shown = [instead.get(e["file"], e["file"]) for e in plain if e["light"] == "D65"]
    write(folder / "photos.json", [{**{key: entries[file][key] for key in ABOUT}, **hair[file]} for file in shown])


if __name__ == "__main__":
    main()
