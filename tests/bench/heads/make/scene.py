"""The scene of one head: its hair as it lies in one photo, the room around it, lights, camera and card.

Builds on the makers of the sample photos (sample_images/make); units as there: centimetres, degrees.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import fibres
import mitsuba as mi
import numpy as np
import strands
import studio as st
from bands import BANDS
from design import CAPES, LIGHTS, WALLS
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from strands import Hair

Array = NDArray[np.float64]
Facts = dict[str, Any]

FOV, APERTURE_CM, FOCUS_BEFORE_CM = 34, 0.3, 10


def turned(points: Array, degrees: float) -> Array:
    """Points (..., 3) turned about the vertical, as the head turns on the chair."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.asarray(points @ np.array([[c, 0, -s], [0, 1, 0], [s, 0, c]]))


def grow(head: Facts, turn: float, lay: int) -> Hair:
    """The head's hair; lay 0 as it grew, every other one as after washing and drying: its clumps fall elsewhere."""
    style = head["hair"]
    hair = strands.grow(np.random.default_rng(head["seed"]), style["strands"], style)
    if style["parted"] is not None:
        _part(hair, style["parted"])
    if lay:
        _lay_anew(hair, np.random.default_rng([head["seed"], lay]))
    layer = 1.02 + 0.02 * np.random.default_rng(head["seed"]).random((len(hair.points), 1))
    for i in range(1, len(hair.arc)):
        hair.points[:, i] = strands.outside(hair.points[:, i], layer)
    hair.points = turned(hair.points, turn)
    return hair


def _part(hair: Hair, where_cm: float) -> None:
    """Comb the top to both sides of a line."""
    side = np.sign(hair.root[:, 0] * strands.HEAD[0] - where_cm + 1e-6)
    top = np.clip((hair.root[:, 1] - 0.35) / 0.3, 0, 1)
    along = np.clip(hair.arc / 3, 0, 1) * np.exp(-np.clip(hair.arc - 8, 0, None) / 14)
    hair.points[..., 0] += (side * top)[:, None] * 2.6 * along[None]


def _lay_anew(hair: Hair, rng: np.random.Generator) -> None:
    """Move locks by some 0.7 cm, curls by some 0.4 cm and single strands a little, growing from the root on."""
    grown = np.clip((hair.arc - 2) / 18, 0, 1)[None, :, None]
    for label, size in ((hair.lock, 0.7), (hair.curl, 0.4)):
        number = label.max() + 1
        move = rng.normal(0, 1, (number, 3)) * np.array([size, 0.25 * size, 0.7 * size])
        phase = rng.uniform(0, 2 * np.pi, number)
        hair.points = hair.points + grown * move[label][:, None]
        bend = np.sin(2 * np.pi * hair.arc[None] / 14 + phase[label][:, None])
        hair.points[..., 0] += grown[..., 0] * 0.5 * size * bend
    hair.points = hair.points + grown * rng.normal(0, 0.12, (len(hair.points), 1, 3))


def fall_line(head: Facts) -> Array:
    """The marked path (k, 3) down the hair as it grew, from below the crown to near the tips."""
    line, _ = strands.fall_line(grow(head, 0, 0), -2.5, 1.0, head["hair"]["length_cm"] - 3.0)
    return line


def camera(eye: list[float], target: list[float]) -> Facts:
    """A camera of a phone's view, focused on the hair."""
    return {
        "eye": eye,
        "target": target,
        "fov": FOV,
        "aperture_cm": APERTURE_CM,
        "focus_cm": eye[2] - FOCUS_BEFORE_CM,
    }


def add_room(studio: st.Studio, head: Facts, folder: Path) -> None:
    """A plain wall, or a busy one: the salon's shelf and plant or streaks like fur or wood, and things before it."""
    rng = np.random.default_rng(head["wall_seed"])
    if head["busy"] and rng.random() < 0.6:
        st.add_room(studio, rng)
        st.add_plant(studio, folder, rng)
    else:
        relief = np.clip(1 + rng.normal(0, 0.01, (256, 256)), 0.9, 1.1)
        if head["busy"]:
            streaks = gaussian_filter(rng.normal(0, 1, (1024, 1024)), (9, 1.2))
            patches = gaussian_filter(rng.normal(0, 1, (1024, 1024)), 30)
            relief = np.clip(1 + 3.2 * streaks + 8 * patches, 0.35, 1.9)
        st.add_wall(studio, relief)
    if head["busy"]:
        for k in range(26):
            _add_thing(studio, f"thing{k}", rng)


def _add_thing(studio: st.Studio, name: str, rng: np.random.Generator) -> None:
    """A box of some colour, often a warm one, matt or shiny."""
    lightness, steps = np.exp(rng.normal(-1.6, 0.8)), np.exp(np.cumsum(rng.normal(0.12, 0.35, 5)))
    colour = studio.spread(np.clip(lightness * steps, 0.02, 0.85))
    x, y = rng.uniform(-50, 50), rng.uniform(-55, 30)
    z = st.WALL_Z + rng.uniform(2, 20)
    size = (rng.uniform(2, 12), rng.uniform(4, 26), rng.uniform(2, 8))
    studio.add(name, st.box(x, y, z, size), colour, 0.2 if rng.random() < 0.5 else None)


def lights(head: Facts, lamp: list[float], window_gain: float) -> Facts:
    """The head's kind of light, with the lamp where it stands in one photo and the window as bright as it is then."""
    power = LIGHTS[head["light"]]
    return {
        "surround": power["surround"],
        "window": {"at": [-120, 20, 70], "size": [80, 110], "radiance": power["window"] * window_gain},
        "ceiling": {"at": [10, 95, 45], "size": [110, 60], "radiance": power["ceiling"]},
        "lamp": {"at": lamp, "size": [42, 42], "radiance": power["lamp"]},
    }


def build(
    head: Facts, look: Facts, hair: Hair, lit: Facts, card: Facts, sensor: Facts, folder: Path
) -> tuple[st.Studio, Any, Array]:
    """The studio, the loaded scene, and the card's corners in centimetres."""
    steps = strands.lightness_steps(np.random.default_rng([head["seed"], 3]), hair, look.get("paint"), 0.0)
    rng = np.random.default_rng([head["seed"], 4])
    strands.write_curves(folder, hair, steps, head["hair"]["radius_cm"], rng)
    surfaces = st.SURFACES | {"wall": WALLS[head["wall"]], "cape": CAPES[head["cape"]]}
    studio = st.Studio(bands=BANDS, surfaces=surfaces)
    add_room(studio, head, folder)
    st.add_client(studio, folder)
    st.add_lights(studio, lit)
    corners = st.add_card(studio, {**card, "kind": "grey18"})
    for m in range(fibres.STEPS):
        curves = folder / f"{m}.txt"
        if curves.stat().st_size:
            studio.add_fibres(f"hair{m}", curves, fibres.absorption(look, m / (fibres.STEPS - 1), bands=BANDS))
    studio.parts["sensor"] = sensor
    studio.parts["integrator"] = {"type": "path", "max_depth": 24, "rr_depth": 8}
    return studio, mi.load_dict(studio.parts, optimize=False), corners
