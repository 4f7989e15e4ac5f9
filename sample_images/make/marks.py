"""Write the marks files from the truth: python marks.py FOLDER (holding truth.json)

marks.json holds every photo with a plain grey card; before.json and after.json hold the
daylight pair of the first client. photos.json is the list of the demo: the photos with a
plain grey card by daylight, to be put beside them in tracker/workflow/demo_photos.
Units: pixels, origin at the top-left corner of the top-left pixel.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

DEMO = Path(__file__).resolve().parents[2] / "tracker" / "workflow" / "demo_photos"
ABOUT = ("file", "client", "role", "months", "light", "card", "path", "width")
"""What the demo is told of a photo: all of the truth but the truth."""


def mark(folder: Path, entry: dict[str, Any]) -> dict[str, Any]:
    """The marks of one photo, out of its entry in truth.json; its place is told from the folder of the marks."""
    file = entry["file"]
    place = file if (folder / file).exists() else Path(os.path.relpath(DEMO / file, folder.resolve())).as_posix()
    return {"photo": place, "card": entry["card"], "path": entry["path"], "width": entry["width"]}


def write(path: Path, entries: list[dict[str, Any]]) -> None:
    """One line a photo."""
    text = ",\n".join("  " + json.dumps(entry) for entry in entries)
    path.write_text('{"photos": [\n' + text + "\n]}\n")


def main() -> None:
    """Write marks.json, before.json, after.json and photos.json."""
    folder = Path(sys.argv[1])
    entries = json.loads((folder / "truth.json").read_text())["photos"]
    plain = [e for e in entries if e["card"]["kind"] == "grey18"]
    files = {
        "marks.json": plain,
        "before.json": [e for e in plain if e["file"] == "noor_before_daylight.jpg"],
        "after.json": [e for e in plain if e["file"] == "noor_after_daylight.jpg"],
    }
    for name, chosen in files.items():
        write(folder / name, [mark(folder, e) for e in chosen])
    demo = [{key: e[key] for key in ABOUT} for e in plain if e["light"] == "D65"]
    write(folder / "photos.json", demo)


if __name__ == "__main__":
    main()
