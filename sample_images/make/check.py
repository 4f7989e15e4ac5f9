"""Compare photos with their truth: python check.py FOLDER (holding the JPEGs and truth.json)

Each photo is balanced in linear light from its grey (gain = luminance factor / median),
its regions are averaged as the truth defines, and the CIEDE2000 difference is printed.
"""

from __future__ import annotations

import json
import sys
import warnings
from pathlib import Path

import numpy as np
import truth
from numpy.typing import NDArray
from PIL import Image
from spectra import XYZ_TO_SRGB

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

Array = NDArray[np.float64]
CHART_GREY = 0.19128
"""Luminance factor of the chart's fourth neutral patch, D65, from the same data as chart24.json."""


def linear(photo: Path) -> Array:
    """Linear sRGB of a photo."""
    s = np.asarray(Image.open(photo), float) / 255.0
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)


def read_regions(photo: Path, entry: dict) -> dict[str, Array]:
    """CIELAB of the root, mid and end, read from the photo alone."""
    rgb = linear(photo)
    card = np.array(entry["card"]["corners"])
    patch, factor = truth.neutral(card, entry["card"]["kind"], np.full((24, 3), CHART_GREY))
    rgb = rgb * factor / np.median(rgb[truth.polygon(rgb.shape[:2], patch, 0.7)], axis=0)
    xyz = rgb @ np.linalg.inv(XYZ_TO_SRGB).T
    out = {}
    for name, mask in truth.band_masks(rgb.shape[:2], np.array(entry["path"]), entry["width"]).items():
        px = xyz[mask]
        out[name] = truth.lab(truth.body(px, px[:, 1]))
    return out


def main() -> None:
    """Print one line a photo."""
    folder = Path(sys.argv[1])
    print(f"{'photo':28}{'root dE00':>10}{'mid':>7}{'end':>7}   true Lab root | mid | end")
    for entry in json.loads((folder / "truth.json").read_text())["photos"]:
        seen = read_regions(folder / entry["file"], entry)
        de = [float(colour.delta_E(seen[n], entry["regions"][n]["lab"], method="CIE 2000")) for n in truth.SPANS]
        true = " | ".join(" ".join(f"{v:5.1f}" for v in entry["regions"][n]["lab"]) for n in truth.SPANS)
        share = min(entry["regions"][n]["hair_share"] for n in truth.SPANS)
        print(f"{entry['file']:28}{de[0]:10.2f}{de[1]:7.2f}{de[2]:7.2f}   {true}   hair {share:.3f}")


if __name__ == "__main__":
    main()
