"""Render photos that are not a head of loose hair from behind: python unusual.py VARIANT WEIGHTS.npz OUT [NAME ...]

Hats, two heads, brushes of the hair's colour, wet hair, ponytails, plaits, hair over a shoulder, faces. Each becomes
OUT/NAME.png, sRGB in the light of its card, OUT/NAME_m.png (the pixels that show hair) and OUT/NAME.json (the card's
corners and a path down the hair, pixels). PYTHONPATH names sample_images/make. What is there already is left alone; a
photo whose process crashed is tried again with another seed.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import design
import numpy as np
import strands
from numpy.typing import NDArray
from strands import Hair

Array = NDArray[np.float64]
Facts = dict[str, Any]

SIZE, PATHS = (450, 600), 60
TRIES = 6
TIE = np.array([0.0, -1.0, 10.6])
SKIN_MOUTH = [0.12, 0.10, 0.10, 0.32, 0.42]
BROWN, BLOND, RED = (
    [0.035, 0.055, 0.075, 0.105, 0.16],
    [0.16, 0.26, 0.34, 0.42, 0.50],
    [0.05, 0.045, 0.05, 0.30, 0.42],
)
DARK, STRAW = [0.03, 0.035, 0.045, 0.06, 0.08], [0.25, 0.36, 0.44, 0.50, 0.56]
CASES: dict[str, tuple[str, int, Facts]] = {  # what is unusual, number of the head, and what is else about it
    "hat_0": ("hat", 5, {"colour": DARK, "brim": False}),
    "hat_1": ("hat", 9, {"colour": STRAW, "brim": True}),
    "hat_2": ("hat", 17, {"colour": RED, "brim": False}),
    "hat_3": ("hat", 30, {"colour": BROWN, "brim": False}),
    "heads_0": ("heads", 12, {"other": 40}),
    "heads_1": ("heads", 16, {"other": 16}),
    "heads_2": ("heads", 21, {"other": 8, "behind": 22.0}),
    "heads_3": ("heads", 37, {"other": 25, "behind": 30.0}),
    "brush_0": ("brush", 24, {"at": [-12.0, -9.0, 12.0], "colour": BLOND}),
    "brush_1": ("brush", 13, {"at": [2.0, -10.0, 15.0], "colour": BROWN}),
    "brush_2": ("brush", 32, {"at": [3.0, -12.0, 16.0], "colour": BLOND}),
    "brush_3": ("brush", 56, {"at": [12.0, -10.0, 12.0], "colour": BROWN}),
    "wet_0": ("wet", 4, {}),
    "wet_1": ("wet", 28, {}),
    "wet_2": ("wet", 48, {}),
    "ponytail_0": ("ponytail", 33, {}),
    "ponytail_1": ("ponytail", 41, {}),
    "ponytail_2": ("ponytail", 57, {}),
    "ponytail_3": ("ponytail", 10, {}),
    "plait_0": ("plait", 29, {}),
    "plait_1": ("plait", 45, {}),
    "plait_2": ("plait", 61, {}),
    "shoulder_0": ("shoulder", 36, {"side": 1.0}),
    "shoulder_1": ("shoulder", 52, {"side": -1.0}),
    "shoulder_2": ("shoulder", 60, {"side": 1.0}),
    "face_0": ("face", 44, {}),
    "face_1": ("face", 53, {}),
    "face_2": ("face", 16, {}),
    "face_3": ("face", 9, {}),
}


def smooth(x: Array) -> Array:
    """From 0 to 1 without a kink."""
    x = np.clip(x, 0, 1)
    return x * x * (3 - 2 * x)


def tied(hair: Hair, rng: np.random.Generator, plaited: bool) -> None:
    """Comb all hair to a tie at the back of the head, from where it falls as one tail, loose or plaited."""
    n, k = hair.points.shape[:2]
    target = TIE / strands.HEAD
    target /= np.linalg.norm(target)
    angle = np.arccos(np.clip(hair.root @ target, -1, 1))
    before = np.maximum(angle * 9.2, 1.0)
    layer = 1.03 + 0.05 * rng.random(n)
    share = np.clip(hair.arc[None] / before[:, None], 0, 1)
    sine = np.maximum(np.sin(angle), 1e-6)[:, None]
    way = np.sin((1 - share) * angle[:, None]) / sine, np.sin(share * angle[:, None]) / sine
    on_head = (way[0][..., None] * hair.root[:, None] + way[1][..., None] * target) * strands.HEAD
    on_head *= layer[:, None, None]
    fallen = np.clip(hair.arc[None] - before[:, None], 0, None)
    spot = rng.normal(0, 1, (n, 2))
    if plaited:
        group = np.digitize(hair.root[:, 0], np.quantile(hair.root[:, 0], [1 / 3, 2 / 3]))
        turn = 2 * np.pi * fallen / 7.5 + (2 * np.pi / 3 * group)[:, None]
        across, depth = 1.7 * np.sin(turn), 0.9 * np.sin(2 * turn)
        across, depth = across + 0.55 * spot[:, :1], depth + 0.5 * spot[:, 1:]
    else:
        wide = (0.6 + 1.3 * smooth(fallen / 10)) * (1 + 0.15 * np.sin(fallen / 3))
        across, depth = wide * spot[:, :1], 0.8 * wide * spot[:, 1:]
    grown = smooth(fallen / 2)
    tail = TIE + np.stack([across * grown, -0.97 * fallen, depth * grown + 2.0 * smooth(fallen / 5)], -1)
    hair.points = np.where((share < 1)[..., None], on_head, tail)
    for i in range(1, k):
        hair.points[:, i] = strands.outside(hair.points[:, i], layer[:, None])
    hair.end = np.clip(hair.end, 6, None)


def over_shoulder(hair: Hair, side: float) -> None:
    """Lay all hair over one shoulder."""
    points = hair.points
    down = smooth((-3 - points[..., 1]) / 14)
    points[..., 0] = points[..., 0] * (1 - 0.6 * down) + side * 11.5 * down
    points[..., 2] -= 12 * smooth((-15 - points[..., 1]) / 8)
    layer = np.full((len(points), 1), 1.05)
    for i in range(1, points.shape[1]):
        points[:, i] = strands.outside(points[:, i], layer)


def without_face(hair: Hair) -> Hair:
    """The hair that does not hang before the face."""
    x, y, z = np.moveaxis(hair.points, -1, 0)
    before = ((np.abs(x) < 6.2) & (y < 4.5) & (y > -14) & (z > 1)).any(axis=1)
    kept = ~before
    return Hair(hair.points[kept], hair.arc, hair.end[kept], hair.lock[kept], hair.curl[kept], hair.root[kept])


def grown(head: Facts, what: str, about: Facts) -> Hair:
    """The hair of a photo."""
    import scene

    rng = np.random.default_rng([head["seed"], 9])
    if what == "wet":
        head["hair"] |= {"clump": 1.0, "volume": 0.03, "frizz_cm": 0.03, "flyaways": 0.0}
    if what in ("ponytail", "plait"):
        head["hair"]["length_cm"] = 52.0
    hair = scene.grow(head, 0.0, 0)
    if what in ("ponytail", "plait"):
        tied(hair, rng, what == "plait")
    if what == "shoulder":
        over_shoulder(hair, about["side"])
    if what == "face":
        hair.points = scene.turned(hair.points, 180.0)
        hair = without_face(hair)
    return hair


def add_hat(studio: Any, folder: Path, about: Facts) -> None:
    """A soft hat over the top of the head, perhaps with a brim."""
    import studio as st

    crown = st.round_mesh(folder / "hat.obj", np.array([0, 6.0, 0.5]), np.array([10.6, 9.5, 12.2]), 2.4, 0.01)
    studio.add("hat", crown, studio.spread(about["colour"]))
    if about["brim"]:
        brim = st.round_mesh(folder / "brim.obj", np.array([0, 2.0, 0.5]), np.array([17.0, 0.7, 18.0]), 2.4)
        studio.add("brim", brim, studio.spread(about["colour"]) * 0.95)


def add_brush(studio: Any, folder: Path, at: list[float], colour: Array) -> None:
    """A brush of some colour: a paddle and a handle."""
    import studio as st

    middle = np.array(at)
    studio.add("paddle", st.round_mesh(folder / "paddle.obj", middle, np.array([3.6, 5.6, 1.3]), 2.6), colour, 0.3)
    studio.add("handle", st.tube(list(middle - [0, 5, 0]), list(middle - [3, 17, 0]), 0.9), colour, 0.3)


def add_face(studio: Any, folder: Path) -> None:
    """Eyes, brows, a nose and a mouth on the near side of the head."""
    import studio as st

    for side in (-1, 1):
        eye = np.array([3.0 * side, 0.8, 8.0])
        studio.add(f"eye{side}", st.round_mesh(folder / f"eye{side}.obj", eye, np.array([1.5, 0.8, 0.9])), "cream", 0.2)
        pupil = st.round_mesh(folder / f"pupil{side}.obj", [*eye, 0, 0, 0.5], np.array([0.65, 0.65, 0.5]))
        studio.add(f"pupil{side}", pupil, "stand", 0.1)
        studio.add(f"brow{side}", st.tube([1.6 * side, 2.6, 8.7], [4.6 * side, 2.8, 7.4], 0.32), "wood")
    nose = st.round_mesh(folder / "nose.obj", np.array([0, -1.8, 9.0]), np.array([1.2, 2.4, 1.7]))
    studio.add("nose", nose, "skin")
    mouth = st.round_mesh(folder / "mouth.obj", np.array([0, -5.4, 7.8]), np.array([2.4, 0.8, 0.9]))
    studio.add("mouth", mouth, studio.spread(SKIN_MOUTH), 0.3)


def moved(parts: dict[str, Any], names: list[str], by: list[float], mi: Any) -> None:
    """Move the client's own parts."""
    for name in names:
        there = parts[name].get("to_world", mi.ScalarTransform4f())
        parts[name]["to_world"] = mi.ScalarTransform4f().translate(by) @ there


def write_hair(head: Facts, look: Facts, hair: Hair, folder: Path) -> None:
    """The curves of one head in a folder."""
    folder.mkdir(exist_ok=True)
    steps = strands.lightness_steps(np.random.default_rng([head["seed"], 3]), hair, look.get("paint"), 0.0)
    strands.write_curves(folder, hair, steps, head["hair"]["radius_cm"], np.random.default_rng([head["seed"], 4]))


def add_hair(studio: Any, name: str, look: Facts, folder: Path, wet: bool) -> None:
    """The hair of one head; wet, it is darker and shines more (how much: from memory)."""
    import fibres

    for m in range(fibres.STEPS):
        curves = folder / f"{m}.txt"
        if curves.stat().st_size:
            sigma = fibres.absorption(look, m / (fibres.STEPS - 1), bands=studio.bands) * (1.7 if wet else 1.0)
            studio.add_fibres(f"{name}{m}", curves, sigma)
            if wet:
                studio.parts[f"{name}{m}"]["surface"] |= {"longitudinal_roughness": 0.15, "azimuthal_roughness": 0.25}


def built(name: str, folder: Path, mi: Any) -> tuple[Any, Facts, Array, Array]:
    """The studio, its camera, the card's corners and a line down the hair, cm."""
    import scene
    import studio as st
    from bands import BANDS

    what, number, about = CASES[name]
    head = design.head(number)
    look, shot, seat = head["looks"][0], head["photos"][0], head["seat"]
    hair = grown(head, what, about)
    surfaces = st.SURFACES | {"wall": design.WALLS[head["wall"]], "cape": design.CAPES[head["cape"]]}
    studio = st.Studio(bands=BANDS, surfaces=surfaces)
    scene.add_room(studio, head, folder)
    st.add_client(studio, folder)
    st.add_lights(studio, scene.lights(head, shot["lamp"], 1.0))
    shift = np.zeros(3)
    client = ["head", "neck", "cape", "collar"]
    if what == "heads":
        other = design.head(about["other"])
        other["seed"] += 1
        shift, far = np.array([-11.5, 0.0, 0.0]), np.array([12.5, -2.0, -about.get("behind", 0.0)])
        moved(studio.parts, client, list(shift), mi)
        own = dict(studio.parts)
        (folder / "second").mkdir()
        st.add_client(studio, folder / "second")
        for part in client:
            second, studio.parts[part] = studio.parts[part], own[part]
            studio.parts[f"{part}2"] = second
            for key, value in list(studio.colours.items()):
                if key.startswith(f"{part}.bsdf"):
                    studio.colours[key.replace(part, f"{part}2", 1)] = value
        moved(studio.parts, [f"{part}2" for part in client], list(far), mi)
        second = scene.grow(other, 0.0, 0)
        second.points = second.points + far
        hair.points = hair.points + shift
        write_hair(other, other["looks"][0], second, folder / "hair2")
        add_hair(studio, "hair2", other["looks"][0], folder / "hair2", False)
    if what == "hat":
        add_hat(studio, folder, about)
    if what == "brush":
        add_brush(studio, folder, about["at"], studio.spread(about["colour"]))
    if what == "face":
        add_face(studio, folder)
    if what in ("ponytail", "plait"):
        studio.add("tie", st.tube([*TIE, 0, 0.8, -0.4], [*TIE, 0, -0.8, 0.6], 1.5), "stand")
    write_hair(head, look, hair, folder / "hair")
    add_hair(studio, "hair", look, folder / "hair", what == "wet")
    at = [1.0, -27.0, 16.0] if what == "heads" else shot["card"]
    turns = {key: shot[key] for key in ("roll", "yaw", "pitch")}
    corners = st.add_card(studio, {"at": at, "size": seat["size"], **turns, "kind": "grey18"})
    target = [0.0, shot["target"][1], 0.0] if what == "heads" else shot["target"]
    line = tail_line(head) if what in ("ponytail", "plait") else scene.fall_line(head) + shift
    return studio, scene.camera(shot["eye"], target), corners, line


def tail_line(head: Facts) -> Array:
    """A line down a tail, from the crown."""
    ends = np.array([[0, 8.0, 8.0], [0, 3.0, 10.5], [*TIE, 0, -2, 2.0], [*TIE, 0, -15, 2.0], [*TIE, 0, -30, 2.0]])
    return np.asarray(ends)


def take(variant: str, weights: Path, out: Path, name: str, seed: int) -> None:
    """Render one photo."""
    import mitsuba as mi

    mi.set_variant(variant)
    import studio as st
    from PIL import Image
    from render import first_hits, render_bands

    width, height = SIZE
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        studio, camera, corners, line = built(name, folder, mi)
        studio.parts["sensor"] = st.sensor(camera, width, height)
        studio.parts["integrator"] = {"type": "path", "max_depth": 24, "rr_depth": 8}
        loaded = mi.load_dict(studio.parts, optimize=False)
        mask, surface = first_hits(loaded, width, height)
        cube = render_bands(loaded, studio, PATHS, seed, folder / "passes", 20)
        number = 1 + [shape.id() for shape in loaded.shapes()].index("card")
    card = cube[surface == number].mean()
    xyz = cube * float(0.18 / card) @ np.load(weights)["xyz"].T
    to_srgb = np.array(
        [[3.2404542, -1.5371385, -0.4985314], [-0.9692660, 1.8760108, 0.0415560], [0.0556434, -0.2040259, 1.0572252]]
    )
    linear = np.clip(xyz @ to_srgb.T, 0, 1)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    noise = np.random.default_rng(1).normal(0, 0.004, encoded.shape)
    Image.fromarray((np.clip(encoded + noise, 0, 1) * 255 + 0.5).astype(np.uint8)).save(out / f"{name}.png")
    Image.fromarray(mask).save(out / f"{name}_m.png", optimize=True)
    placed, path = (st.project(camera, points, width, height).round(1).tolist() for points in (corners, line))
    (out / f"{name}.json").write_text(json.dumps({"name": name, "corners": placed, "path": path}))


def one(variant: str, weights: Path, out: Path, name: str) -> str:
    """Render one photo in a process of its own, and again where that crashed."""
    if (out / f"{name}.json").exists():
        return "there"
    said = ""
    for attempt in range(TRIES):
        words = [sys.executable, __file__, variant, str(weights), str(out), "--one", name, str(50_000 * attempt)]
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        if (out / f"{name}.json").exists():
            return f"done, crashed {attempt} times before"
        said = done.stderr[-400:]
        if "Error" in said:
            break
    return f"failed: {said}"


def main() -> None:
    """Command line."""
    variant, weights, out = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
    out.mkdir(parents=True, exist_ok=True)
    if "--one" in sys.argv:
        take(variant, weights, out, sys.argv[5], int(sys.argv[6]))
        sys.stdout.flush()
        os._exit(0)  # the renderer's own teardown can crash
    names = sys.argv[4:] or list(CASES)
    with ThreadPoolExecutor(4) as pool:
        for name, said in zip(names, pool.map(lambda name: one(variant, weights, out, name), names), strict=True):
            print(f"{name}: {said}", flush=True)


if __name__ == "__main__":
    main()
