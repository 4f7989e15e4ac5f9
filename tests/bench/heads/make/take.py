"""Render one head: python take.py VARIANT DESIGN.json WEIGHTS.npz OUT NUMBER [--seed N] [--until SECONDS] [--quick]

Each photo becomes OUT/NAME_0.jpg and NAME_1.jpg (see bands.py), NAME_m.png (the pixels that show hair) and NAME.json
(the card's corners and the path, pixels). Each lay of a look, seen from the seat without any jitter, becomes
OUT/HEAD_rSL.json: mean XYZ under D65 of the whole width of the hair in each band. What is there already is left alone,
so a stopped run can go on. PYTHONPATH names sample_images/make.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import mitsuba as mi
import numpy as np
import truth
from numpy.typing import NDArray
from PIL import Image

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Facts = dict[str, Any]

PHOTO = (540, 720, 40)
"""Width and height in pixels, and paths a pixel."""
REFERENCE = (270, 360, 20)
CHUNK = 20
FEWEST_PIXELS = 20
GREY = 0.18


def band_rows(path: Array, start: float, stop: float) -> slice:
    """Image rows between two shares of the path's length: the whole width of the hair at those heights."""
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))]
    first, last = np.interp([start, stop], along / along[-1], path[:, 1])
    return slice(max(int(first), 0), int(np.ceil(last)))


def band_colours(xyz: Array, hair: Mask, path: Array) -> dict[str, Any]:
    """Mean XYZ of all hair of each band, and of its core between the 10th and 90th percentile of luminance."""
    found = {}
    for name, span in truth.SPANS.items():
        rows = band_rows(path, *span)
        pixels = xyz[rows][hair[rows]]
        if len(pixels) < FEWEST_PIXELS:
            raise ValueError(f"{name}: no hair at its height")
        core = truth.body(pixels, pixels[:, 1])
        found[name] = {"mean": pixels.mean(0).tolist(), "core": core.tolist(), "pixels": len(pixels)}
    return found


class Taker:
    """Renders the photos and the reference lays of one head."""

    def __init__(self, head: Facts, to_xyz: Array, out: Path, seed: int, quick: bool) -> None:
        import scene

        self.head, self.to_xyz, self.out, self.seed, self.quick = head, to_xyz, out, seed, quick
        self.line = scene.fall_line(head)

    def _rendered(
        self, size: tuple[int, int, int], shot: Facts, lay: int
    ) -> tuple[NDArray[np.float32], Mask, Array, Array]:
        """Band image scaled by the card, the pixels of hair, the card's corners and the path in pixels."""
        import scene
        import studio as st
        from render import first_hits, render_bands

        width, height, paths = (n // 4 for n in size) if self.quick else size
        camera = scene.camera(shot["eye"], shot["target"])
        card = {"at": shot["card"], "size": self.head["seat"]["size"], **{k: shot[k] for k in ("roll", "yaw", "pitch")}}
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            lit = scene.lights(self.head, shot["lamp"], shot["window_gain"])
            hair = scene.grow(self.head, shot["turn"], lay)
            look, sensor = self.head["looks"][shot["state"]], st.sensor(camera, width, height)
            studio, loaded, corners = scene.build(self.head, look, hair, lit, card, sensor, folder)
            mask, surface = first_hits(loaded, width, height)
            cube = render_bands(loaded, studio, paths, self.seed, folder / "passes", CHUNK)
        placed = st.project(camera, corners, width, height)
        path = st.project(camera, scene.turned(self.line, shot["turn"]), width, height)
        number = 1 + [shape.id() for shape in loaded.shapes()].index("card")
        seen = truth.polygon((height, width), placed, 0.7) & (surface == number)
        return cube * float(GREY / cube[seen].mean()), mask, placed, path

    def photo(self, shot: Facts) -> Facts:
        """One photo; returns its marks."""
        import bands

        cube, hair, corners, path = self._rendered(PHOTO, shot, shot["lay"])
        bands.write(cube, self.out, shot["name"])
        Image.fromarray(hair).save(self.out / f"{shot['name']}_m.png", optimize=True)
        return {"name": shot["name"], "corners": corners.round(2).tolist(), "path": path.round(2).tolist()}

    def reference(self, state: int, lay: int) -> Facts:
        """The colour of one look, laid once, from the seat itself."""
        seat = self.head["seat"]
        still = {"roll": 0, "yaw": 0, "pitch": 0, "turn": 0.0, "window_gain": 1.0, "state": state}
        cube, hair, _, path = self._rendered(REFERENCE, {**seat, **still}, 1000 + lay)
        return {"state": state, "lay": lay, "bands": band_colours(cube @ self.to_xyz.T, hair, path)}

    def jobs(self) -> list[tuple[str, Any]]:
        """Names of all files to come, each with what makes it."""
        from design import LAYS

        photos = [(shot["name"], lambda shot=shot: self.photo(shot)) for shot in self.head["photos"]]
        changed = self.head["changed"]
        lays = [(s, lay) for s in range(2 if changed else 1) for lay in range(LAYS if changed else 2)]
        return photos + [
            (f"{self.head['name']}_r{s}{lay}", lambda s=s, lay=lay: self.reference(s, lay)) for s, lay in lays
        ]


def main() -> None:
    """Command line."""
    cli = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    cli.add_argument("variant")
    for name in ("design", "weights", "out"):
        cli.add_argument(name, type=Path)
    cli.add_argument("number", type=int)
    cli.add_argument("--seed", type=int, default=0)
    cli.add_argument(
        "--until", type=float, default=float("inf"), help="begin nothing after this time, seconds since 1970"
    )
    cli.add_argument("--quick", action="store_true", help="a draft a quarter as wide, with a quarter of the paths")
    args = cli.parse_args()
    mi.set_variant(args.variant)
    args.out.mkdir(parents=True, exist_ok=True)
    head = json.loads(args.design.read_text())[args.number]
    taker = Taker(head, np.load(args.weights)["xyz"], args.out, args.seed, args.quick)
    for name, make in taker.jobs():
        file = args.out / f"{name}.json"
        if file.exists() or time.time() > args.until:
            continue
        began, draft = time.time(), file.with_suffix(".tmp")
        draft.write_text(json.dumps(make()))
        draft.rename(file)
        print(f"{name} {time.time() - began:.0f} s", flush=True)
    sys.stdout.flush()
    os._exit(0)  # the renderer's own teardown can crash


if __name__ == "__main__":
    main()
