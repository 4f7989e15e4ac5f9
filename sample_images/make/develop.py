"""Turn band images into photographs: python develop.py CUBES WEIGHTS.npz OUT [--only NAME,NAME]

Each shot of shots.json becomes OUT/NAME.jpg; OUT/truth.json gets the marks and the true
colour of the root, mid and end of the hair (definitions in truth.py).
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np
import truth
from camera import ELECTRONS, noise, tone
from numpy.typing import NDArray
from PIL import Image
from render import load_scenes
from scipy.ndimage import binary_dilation, gaussian_filter

Array = NDArray[np.float64]
HERE = Path(__file__).parent


def quiet(image: Array, surface: NDArray[np.uint8], hair: NDArray[np.bool_], sigma_px: float) -> Array:
    """Smooth the renderer's noise within each surface that is not hair, away from hair."""
    near = binary_dilation(hair, iterations=3)
    out = image.copy()
    for number in np.unique(surface[~near]):
        inside = (surface == number) & ~near
        weight = np.maximum(gaussian_filter(inside.astype(float), sigma_px), 1e-6)
        for j in range(3):
            smooth = gaussian_filter(np.where(inside, image[..., j], 0.0), sigma_px) / weight
            out[..., j] = np.where(inside, smooth, out[..., j])
    return out


def even_chroma(image: Array, sigma_px: float) -> Array:
    """Smooth colour but keep lightness detail, as every camera's noise reduction does."""
    green = np.maximum(image.mean(-1), 1e-6)
    base = np.maximum(gaussian_filter(green, sigma_px), 1e-6)
    soft = np.stack([gaussian_filter(image[..., j], sigma_px) for j in range(3)], -1)
    return soft * (green / base)[..., None]


def shoot(linear_raw: Array, shot: dict[str, Any], matrix: Array, gain: float) -> NDArray[np.uint8]:
    """Balanced raw to an 8-bit photo: white balance error, matrix, exposure, sensor noise, tone."""
    rng = np.random.default_rng(shot.get("seed", 1))
    lin = linear_raw * np.array(shot.get("wb", [1, 1, 1])) @ matrix.T * gain
    lin = lin + rng.normal(size=lin.shape) * noise(lin, shot.get("electrons", ELECTRONS))
    return (np.clip(tone(lin, shot.get("tone", 0.0)), 0, 1) * 255 + 0.5).astype(np.uint8)


def develop(shot: dict[str, Any], scene: dict[str, Any], cubes: Path, weights: Any, out: Path) -> dict[str, Any]:
    """Write one photo; returns its entry for truth.json."""
    z = np.load(cubes / f"{shot['scene']}.npz")
    cube = z["cube"].astype(np.float32)
    h, w = cube.shape[:2]
    hair = np.unpackbits(z["hair"])[: h * w].reshape(h, w).astype(bool)
    kind = scene["card"]["kind"]
    width = scene["path"]["width"] * w
    xyz = cube @ weights["xyz"].astype(np.float32).T
    scale = truth.card_scale(xyz, z["card"], kind, weights["chart_xyz"])
    regions = truth.regions(xyz * scale, hair, z["path"], width)
    key = f"{shot['light']}|{shot['camera']}"
    raw = cube @ weights[f"raw|{key}"].astype(np.float32).T
    raw = even_chroma(raw.astype(float), w / 700)
    raw = quiet(raw, z["surface"], hair, w / 500)
    photo = shoot(raw, shot, weights[f"matrix|{key}"], scale * shot.get("exposure", 1.0))
    file = out / f"{shot['name']}.jpg"
    Image.fromarray(photo).save(file, quality=shot.get("quality", 90), subsampling=2, optimize=True)
    growth = round(10.0 * scene["hair"]["growth_cm_a_month"] * scene["months"], 2) if "months" in scene else None
    return {
        "file": f"{shot['name']}.jpg",
        "client": shot["client"],
        "role": shot["role"],
        "months": scene.get("months"),
        "regrowth_mm": growth,
        "light": shot["light"],
        "camera": shot["camera"],
        "size": [w, h],
        "card": {"kind": kind, "corners": z["card"].round(2).tolist()},
        "path": z["path"].round(2).tolist(),
        "path_arc_cm": z["arc"].round(2).tolist(),
        "width": round(width, 1),
        "toner_left": round(float(z["toner_left"]), 4) if "toner" in scene["look"] else None,
        "regions": regions,
    }


def main() -> None:
    """Command line."""
    cli = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    cli.add_argument("cubes", type=Path)
    cli.add_argument("weights", type=Path)
    cli.add_argument("out", type=Path)
    cli.add_argument("--only", default="")
    args = cli.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    scenes = {s["name"]: s for s in load_scenes(HERE / "scenes.json")}
    weights = np.load(args.weights)
    only = [name for name in args.only.split(",") if name]
    shots = [
        shot
        for shot in json.loads((HERE / "shots.json").read_text())
        if (args.cubes / f"{shot['scene']}.npz").exists() and (not only or shot["name"] in only)
    ]
    entries = [develop(shot, scenes[shot["scene"]], args.cubes, weights, args.out) for shot in shots]
    truth.write(args.out / "truth.json", entries)
    print(len(entries), "photos")


if __name__ == "__main__":
    main()
