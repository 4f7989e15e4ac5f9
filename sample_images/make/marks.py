"""Write the marks files from the truth: python marks.py FOLDER (holding truth.json)

marks.json holds every photo with a plain grey card; before.json and after.json hold the
daylight pair of the first client. Units: pixels, origin at the top-left corner of the
top-left pixel.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any


def mark(entry: dict[str, Any]) -> dict[str, Any]:
    """The marks of one photo, out of its entry in truth.json."""
    return {"photo": entry["file"], "card": entry["card"], "path": entry["path"], "width": entry["width"]}


def main() -> None:
    """Write marks.json, before.json and after.json."""
    folder = Path(sys.argv[1])
    entries = json.loads((folder / "truth.json").read_text())["photos"]
    plain = [e for e in entries if e["card"]["kind"] == "grey18"]
    files = {
        "marks.json": plain,
        "before.json": [e for e in plain if e["file"] == "noor_before_daylight.jpg"],
        "after.json": [e for e in plain if e["file"] == "noor_after_daylight.jpg"],
    }
    for name, chosen in files.items():
        text = ",\n".join("  " + json.dumps(mark(e)) for e in chosen)
        (folder / name).write_text('{"photos": [\n' + text + "\n]}\n")


if __name__ == "__main__":
    main()
