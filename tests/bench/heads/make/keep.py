"""Make the kept plates of what was rendered: python -m tests.bench.heads.make.keep DESIGN.json WEIGHTS.npz RENDERED

Each photo becomes one plate, seen by its head's camera in its head's light, and a mask of the pixels that show hair;
``heads.json`` has the design, the marks, the cameras' matrices and the true colours. A photo whose card is partly
outside the frame is left out.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from tests.bench.heads.codec import write_plate
from tests.bench.heads.make.bands import read
from tests.bench.heads.plates import PLATES
from tracker.maths.colorimetry import Floats, xyz_to_lab
from tracker.measure.reading import REGIONS

Facts = dict[str, Any]

ABOUT = (
    *("name", "kind", "changed", "level", "length", "density", "wave", "parted"),
    *("light", "spectrum", "camera", "busy", "wall", "cape"),
)
"""What is kept of a head's design."""


def truth(head: Facts, rendered: Path) -> Facts:
    """CIELAB of each band before and after: the lays' mean in linear light. An unchanged head has one colour."""
    found: Facts = {}
    for part in ("core", "mean"):
        found[part] = {}
        for band in REGIONS:
            states = []
            for state in range(2 if head["changed"] else 1):
                lays = sorted(rendered.glob(f"{head['name']}_r{state}?.json"))
                xyz = [json.loads(lay.read_text())["bands"][band][part] for lay in lays]
                states.append(xyz_to_lab(np.mean(xyz, axis=0)).round(3).tolist())
            found[part][band] = [states[0], states[-1]]
    return found


def photo(shot: Facts, to_raw: Floats, rendered: Path, out: Path) -> Facts | None:
    """Write one plate and its mask; gives the marks, or None where the card is partly outside the frame."""
    marks = json.loads((rendered / f"{shot['name']}.json").read_text())
    cube = read(rendered, shot["name"])
    height, width = cube.shape[:2]
    corners = np.array(marks["corners"])
    if corners.min() < 0 or (corners > (width, height)).any():
        return None
    write_plate(cube @ to_raw.T, out / f"{shot['name']}.webp")
    with Image.open(rendered / f"{shot['name']}_m.png") as mask:
        mask.convert("1").save(out / f"{shot['name']}.png", optimize=True)
    return {"name": shot["name"], "state": shot["state"], "corners": marks["corners"], "path": marks["path"]}


def main(design: Path, weights: Path, rendered: Path, out: Path = PLATES) -> None:
    """Write all plates and heads.json."""
    out.mkdir(exist_ok=True)
    matrices, rows = {}, []
    with np.load(weights) as weight:
        for head in json.loads(design.read_text()):
            seen = f"{head['spectrum']}|{head['camera']}"
            matrices[seen] = weight[f"matrix|{seen}"].round(6).tolist()
            shots = [photo(shot, weight[f"raw|{seen}"], rendered, out) for shot in head["photos"]]
            about = {key: head[key] for key in ABOUT} | {"held": head["seat"]["held"]}
            rows.append(about | {"truth": truth(head, rendered), "photos": [shot for shot in shots if shot]})
    lines = ",\n".join(json.dumps(row, separators=(",", ":")) for row in rows)
    kept = json.dumps(dict(sorted(matrices.items())), separators=(",", ":"))
    (out / "heads.json").write_text(f'{{"matrices":{kept},\n"heads":[\n{lines}\n]}}\n', "utf-8")
    print(f"{len(rows)} heads, {sum(len(row['photos']) for row in rows)} photos")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]))
