"""Render band images of the studio: python render.py VARIANT CUBES [--quick] [--only NAME,NAME] [--seed N]

Each scene of scenes.json becomes CUBES/NAME.npz: a radiance-factor image in 18
wavelength bands, the hair mask, the card's corners and the fall line, both in pixels.
A scene whose file exists already is skipped, so a stopped run can go on.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import mitsuba as mi
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]
HERE = Path(__file__).parent


def merged(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    """A dictionary with the nested values of another laid over it."""
    out = dict(base)
    for key, value in over.items():
        out[key] = merged(out[key], value) if isinstance(value, dict) and isinstance(out.get(key), dict) else value
    return out


def load_scenes(path: Path) -> list[dict[str, Any]]:
    """Scenes of a file, each laid over its head and over the defaults."""
    book = json.loads(path.read_text())
    done: dict[str, dict[str, Any]] = {}
    for scene in book["scenes"]:
        base = merged(book["defaults"], book["heads"].get(scene.get("head"), {}))
        done[scene["name"]] = merged(base, scene)
    return list(done.values())


def first_hits(scene: Any, width: int, height: int) -> tuple[NDArray[np.bool_], NDArray[np.int32]]:
    """Hair mask, and a number of the surface, at the centre of every pixel."""
    import drjit as dr

    i = dr.arange(mi.UInt32, width * height)
    at = mi.Point2f((mi.Float(i % width) + 0.5) / width, (mi.Float(i // width) + 0.5) / height)
    ray, _ = scene.sensors()[0].sample_ray(0.0, 0.5, at, mi.Point2f(0.5, 0.5))
    hit = scene.ray_intersect(ray)
    number = mi.Int32(0)
    hair = mi.Bool(False)
    for k, shape in enumerate(scene.shapes()):
        this = hit.is_valid() & (hit.shape == mi.ShapePtr(shape))
        number = dr.select(this, k + 1, number)
        if shape.id().startswith("hair"):
            hair |= this
    return np.array(hair).reshape(height, width), np.array(number).reshape(height, width).astype(np.int32)


def build(cfg: dict[str, Any], folder: Path, quick: bool) -> tuple[Any, Any, dict[str, Any]]:
    """The studio with the client's hair, the strands, and the marks in centimetres."""
    import fibres
    import strands
    import studio as st

    rng = np.random.default_rng(cfg["seed"])
    hair_cfg, look, path = cfg["hair"], cfg["look"], cfg["path"]
    months = cfg.get("months", 0.0)
    grown = hair_cfg["growth_cm_a_month"] * months
    style = merged(hair_cfg, {"length_cm": hair_cfg["length_cm"] + grown})
    arrange = np.random.default_rng([cfg["seed"], cfg["arrange"]]) if "arrange" in cfg else None
    hair = strands.grow(rng, hair_cfg["strands"] // (4 if quick else 1), style, arrange)
    paint_rng = np.random.default_rng([cfg["seed"], 3])
    steps = strands.lightness_steps(paint_rng, hair, look.get("paint"), grown)
    strands.write_curves(folder, hair, steps, hair_cfg["radius_cm"] * (2 if quick else 1), rng)
    studio = st.Studio()
    st.add_room(studio, np.random.default_rng(5))
    st.add_plant(studio, folder, np.random.default_rng(11))
    st.add_client(studio, folder)
    st.add_lights(studio, cfg["light"])
    corners = st.add_card(studio, cfg["card"], np.array(json.loads((HERE / "chart24.json").read_text())["bands"]))
    toner = fibres.toner_left(months, *look["toner_fade"]) if "toner_fade" in look else 1.0
    for m in range(fibres.STEPS):
        if (folder / f"{m}.txt").stat().st_size:
            sigma = fibres.absorption(look, m / (fibres.STEPS - 1), toner)
            studio.add_fibres(f"hair{m}", folder / f"{m}.txt", sigma)
    line, arc = strands.fall_line(hair, path["x_cm"], path["from_cm"], style["length_cm"] - path["short_cm"])
    return studio, hair, {"corners": corners, "line": line, "arc": arc, "toner_left": toner}


def render_bands(scene: Any, studio: Any, spp: int, seed: int, passes: Path, chunk: int = 32) -> Array:
    """Render all bands, three at a time, with the same random paths for each three.

    Every pass of `chunk` paths a pixel is kept as a file in `passes`, so that after a crash of the renderer
    another call (with another seed) goes on where this one stopped.
    """
    passes.mkdir(parents=True, exist_ok=True)
    params = mi.traverse(scene)
    triples = []
    for k in range(len(studio.bands) // 3):
        for key, bands in studio.colours.items():
            three = [float(v) for v in bands[3 * k : 3 * k + 3]]
            if key in studio.textures:
                params[key] = mi.TensorXf((studio.textures[key][..., None] * three).astype(np.float32))
            else:
                params[key] = mi.Color3f(three)
        params.update()
        total: Any = 0.0
        for start in range(0, spp, chunk):
            part = min(chunk, spp - start)
            file = passes / f"{k}_{start}.npy"
            if not file.exists():
                image = np.array(mi.render(scene, spp=part, seed=seed + start))[..., :3]
                np.save(file.with_suffix(".tmp.npy"), image)
                file.with_suffix(".tmp.npy").rename(file)
            total = total + np.load(file) * part
        triples.append(total / spp)
    return np.concatenate(triples, -1).astype(np.float32)


def render(cfg: dict[str, Any], out: Path, quick: bool, seed: int) -> None:
    """Render one scene and write its file."""
    import studio as st

    began = time.time()
    w, h = cfg["size"]
    spp = cfg["spp"]
    if quick:
        w, h, spp = w // 4, h // 4, 8
    with tempfile.TemporaryDirectory() as folder:
        studio, _, marks = build(cfg, Path(folder), quick)
        studio.parts["sensor"] = st.sensor(cfg["camera"], w, h)
        studio.parts["integrator"] = {"type": "path", "max_depth": cfg["depth"], "rr_depth": 12}
        scene = mi.load_dict(studio.parts, optimize=False)
        built = time.time()
        hair, surface = first_hits(scene, w, h)
        cube = render_bands(scene, studio, spp, seed, out / "passes" / cfg["name"])
    draft = out / (cfg["name"] + ".part.npz")
    np.savez(
        draft,
        cube=cube.astype(np.float16),
        hair=np.packbits(hair),
        surface=surface.astype(np.uint8),
        card=st.project(cfg["camera"], marks["corners"], w, h),
        path=st.project(cfg["camera"], marks["line"], w, h),
        arc=marks["arc"],
        toner_left=marks["toner_left"],
    )
    draft.rename(out / (cfg["name"] + ".npz"))
    shutil.rmtree(out / "passes" / cfg["name"])
    print(f"{cfg['name']} {w}x{h} built in {built - began:.0f} s, all {time.time() - began:.0f} s", flush=True)


def main() -> None:
    """Command line."""
    cli = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    cli.add_argument("variant")
    cli.add_argument("cubes", type=Path)
    cli.add_argument("--quick", action="store_true")
    cli.add_argument("--only", default="")
    cli.add_argument("--seed", type=int, default=0)
    args = cli.parse_args()
    mi.set_variant(args.variant)
    args.cubes.mkdir(parents=True, exist_ok=True)
    only = [name for name in args.only.split(",") if name]
    for cfg in load_scenes(HERE / "scenes.json"):
        if (not only or cfg["name"] in only) and not (args.cubes / (cfg["name"] + ".npz")).exists():
            render(cfg, args.cubes, args.quick, args.seed)
    sys.stdout.flush()
    os._exit(0)  # the renderer's own teardown can crash


if __name__ == "__main__":
    main()
