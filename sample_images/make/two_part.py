"""Give daylight photos a two-part card and a phone's look: python two_part.py FOLDER (holding truth.json)

The lower half of the plain card is painted dark: its linear light falls by what matt black card reflects against the
grey, and gets the noise that a sensor has at that light. Then the whole photo gets the tone of a phone, stronger or
weaker from photo to photo. The hair, and so its truth, stays as it was. The photos go beside truth.json, which gets
their entries; the plain ones are looked for there and beside the demo's list.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from camera import Array, noise, tone, untone
from marks import place_of
from PIL import Image

HERE = Path(__file__).parent
GREY, DARK = 0.18, 0.05
"""Reflectances: of the rendered card, and of matt black card (common practice, no source)."""

KIND = "steps2"
_FINE = 8  # samples across a pixel at the edges of the dark half


def lower_half(corners: Array, shape: tuple[int, int]) -> Array:
    """The share of each pixel (h, w) that the lower half of a card covers, seen in perspective.

    Corners (4, 2) run clockwise from the card's own top left, pixels; the origin is the top-left corner of the top-left
    pixel.
    """
    unit = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float)
    rows = [
        row
        for (x, y), (u, v) in zip(corners, unit, strict=True)
        for row in ((x, y, 1, 0, 0, 0, -u * x, -u * y), (0, 0, 0, x, y, 1, -v * x, -v * y))
    ]
    plane = np.append(np.linalg.solve(np.array(rows), unit.ravel()), 1.0).reshape(3, 3)
    left, top = np.floor(corners.min(axis=0)).astype(int) - 1
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 1
    xs, ys = (
        (np.arange((stop - start) * _FINE) + 0.5) / _FINE + start for start, stop in ((left, right), (top, bottom))
    )
    x, y = np.meshgrid(xs, ys)
    u, v, w = (a * x + b * y + c for a, b, c in plane)
    inside = (u >= 0) & (u < w) & (v >= 0.5 * w) & (v < w)
    share = np.zeros(shape)
    share[top:bottom, left:right] = inside.reshape(bottom - top, _FINE, right - left, _FINE).mean(axis=(1, 3))
    return share


def darkened(linear: Array, share: Array, rng: np.random.Generator) -> Array:
    """The photo (h, w, 3) with that share of each pixel as dark as the black card, noise and all."""
    factor = (1 - share * (1 - DARK / GREY))[..., None]
    out = linear * factor
    # what was there had the noise of more light: less than a sensor has at the light that is left
    lacking = np.maximum(noise(out) ** 2 - (factor * noise(linear)) ** 2, 0) * (factor < 1)
    return out + rng.normal(size=out.shape) * np.sqrt(lacking)


def photograph(shot: dict[str, Any], entry: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Write one photo; returns its entry for truth.json."""
    linear = untone(np.asarray(Image.open(place_of(folder, entry["file"]))))
    share = lower_half(np.array(entry["card"]["corners"]), linear.shape[:2])
    linear = darkened(linear, share, np.random.default_rng(shot["seed"]))
    codes = (np.clip(tone(linear, shot["tone"]), 0, 1) * 255 + 0.5).astype(np.uint8)
    file = f"{shot['name']}.jpg"
    Image.fromarray(codes).save(folder / file, quality=92, subsampling=2, optimize=True)
    return {**entry, "file": file, "card": {**entry["card"], "kind": KIND}}


def main() -> None:
    """Make every photo of two_part.json."""
    folder = Path(sys.argv[1]).resolve()
    told = json.loads((folder / "truth.json").read_text())
    shots = json.loads((HERE / "two_part.json").read_text())
    made = [f"{shot['name']}.jpg" for shot in shots]
    entries = {entry["file"]: entry for entry in told["photos"] if entry["file"] not in made}
    for shot in shots:
        entry = photograph(shot, entries[f"{shot['of']}.jpg"], folder)
        entries[entry["file"]] = entry
    told["photos"] = list(entries.values())
    (folder / "truth.json").write_text(json.dumps(told, indent=1) + "\n")
    print(len(shots), "photos")


if __name__ == "__main__":
    main()
