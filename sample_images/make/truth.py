"""True colours of the rendered photos: the card's scale, the bands of the path, CIELAB."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from studio import GREY

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
D65_WHITE: Array = np.array([0.95047, 1.0, 1.08883])
SPANS = {"root": (0.0, 0.2), "mid": (0.4, 0.6), "end": (0.8, 1.0)}

DEFINITIONS = {
    "lab": "CIELAB (no unit), CIE D65, 2 degree observer, of the average in linear light of the hair pixels (the "
    "renderer's own mask) of the region whose luminance lies between the region's 10th and 90th percentile",
    "mean_lab": "the same, averaged over all hair pixels of the region",
    "regions": "root, mid and end: 0-20 %, 40-60 % and 80-100 % of the length of the path, full width of the path",
    "scale": "the image is scaled so that the card's grey (strip: middle step; chart: fourth patch of the neutral "
    "row) reads its own luminance factor; the grey of the plain card, the two-part card and the strip is 0.18",
    "path": "polyline from root to tip, pixels; origin at the top-left corner of the top-left pixel",
    "path_arc_cm": "distance along the hair from the scalp at each point of the path, centimetres",
    "width": "width of the path, pixels",
    "corners": "clockwise from the card's own top left corner, pixels, same origin",
    "client": "first name of an invented demo client: neither people nor studio exist",
    "light": "spectrum of the light: a CIE illuminant's name",
    "camera": "measured: a camera whose sensitivities were measured (README); ideal: the CIE observer",
    "regrowth_mm": "hair grown since the service, for progress photos, millimetres",
    "months": "months since the service, for progress photos",
    "toner_left": "share of the toner left on the hair (1 just after the service); null without a toner",
    "hair_share": "share of the region's pixels that are hair",
}


def lab(xyz: Array) -> Array:
    """CIELAB of XYZ (Y = 1 for a perfect white), D65."""
    t = np.asarray(xyz, float) / D65_WHITE
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)


def polygon(shape: tuple[int, int], corners: Array, grow: float) -> Mask:
    """Pixels inside a polygon shrunk or grown about its middle."""
    q = corners.mean(0) + (corners - corners.mean(0)) * grow
    im = Image.new("1", shape[::-1])
    ImageDraw.Draw(im).polygon([tuple(p) for p in q - 0.5], fill=1)
    return np.array(im)


def neutral(card: Array, kind: str, chart_xyz: Array) -> tuple[Array, float]:
    """Corners of the grey that sets the scale, and its luminance factor."""

    def at(x: float, y: float) -> Array:
        return (1 - y) * ((1 - x) * card[0] + x * card[1]) + y * ((1 - x) * card[3] + x * card[2])

    if kind == "grey18":
        return card, GREY
    if kind == "steps2":
        return np.array([at(0, 0), at(1, 0), at(1, 1 / 2), at(0, 1 / 2)]), GREY
    if kind == "steps3":
        return np.array([at(0, 1 / 3), at(1, 1 / 3), at(1, 2 / 3), at(0, 2 / 3)]), GREY
    return np.array([at(3 / 6, 3 / 4), at(4 / 6, 3 / 4), at(4 / 6, 1), at(3 / 6, 1)]), float(chart_xyz[21, 1])


def card_scale(xyz: Array, card: Array, kind: str, chart_xyz: Array) -> float:
    """Factor that makes the card's grey read its own luminance factor."""
    corners, factor = neutral(card, kind, chart_xyz)
    return factor / float(np.median(xyz[polygon(xyz.shape[:2], corners, 0.7)][:, 1]))


def band_masks(shape: tuple[int, int], path: Array, width: float) -> dict[str, Mask]:
    """Pixels of the root, mid and end of a path."""
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))]
    along /= along[-1]
    out = {}
    for name, (a, b) in SPANS.items():
        t = np.unique(np.r_[a, along[(along > a) & (along < b)], b])
        xy = np.stack([np.interp(t, along, path[:, 0]), np.interp(t, along, path[:, 1])], -1) - 0.5
        im = Image.new("1", shape[::-1])
        ImageDraw.Draw(im).line([tuple(v) for v in xy], fill=1, width=round(width))
        out[name] = np.array(im)
    return out


def body(pixels: Array, luminance: Array) -> Array:
    """Mean of the pixels between the 10th and 90th percentile of luminance."""
    lo, hi = np.quantile(luminance, [0.1, 0.9])
    return pixels[(luminance >= lo) & (luminance <= hi)].mean(0)


def regions(xyz: Array, hair: Mask, path: Array, width: float) -> dict[str, Any]:
    """True colour of each region of the path."""
    out = {}
    for name, mask in band_masks(hair.shape, path, width).items():
        px = xyz[mask & hair].astype(float)
        out[name] = {
            "lab": lab(body(px, px[:, 1])).round(2).tolist(),
            "mean_lab": lab(px.mean(0)).round(2).tolist(),
            "pixels": len(px),
            "hair_share": round(float(hair[mask].mean()), 4),
        }
    return out


def write(path: Path, photos: list[dict[str, Any]]) -> None:
    """Write truth.json."""
    made = dt.datetime.now(dt.UTC).date().isoformat()
    path.write_text(json.dumps({"made": made, "definitions": DEFINITIONS, "photos": photos}, indent=1) + "\n")
