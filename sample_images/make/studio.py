"""The invented demo studio: wall, shelf, plant, cape, lamps, camera and card.

Builds a scene for the renderer. Units: centimetres; x to the right, y up,
z towards the camera. Everything that has a colour is kept as band values in
`Studio.colours`, so that one loaded scene can be rendered three bands at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import fibres
import mitsuba as mi
import numpy as np
import strands
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

Array = NDArray[np.float64]

KNOTS = (400.0, 500.0, 550.0, 600.0, 706.0)
SURFACES: dict[str, list[float]] = {  # reflectance at those wavelengths, nm
    "wall": [0.600, 0.690, 0.720, 0.740, 0.750],
    "wood": [0.090, 0.150, 0.200, 0.270, 0.360],
    "amber": [0.020, 0.050, 0.120, 0.220, 0.360],
    "cream": [0.420, 0.580, 0.630, 0.660, 0.700],
    "bottle": [0.050, 0.090, 0.080, 0.060, 0.060],
    "leaf": [0.025, 0.060, 0.120, 0.060, 0.100],
    "pot": [0.100, 0.160, 0.220, 0.340, 0.420],
    "cape": [0.030, 0.027, 0.026, 0.026, 0.028],
    "stand": [0.030, 0.030, 0.030, 0.030, 0.030],
    "skin": [0.140, 0.180, 0.200, 0.300, 0.420],
}
WALL_Z = -62.0
GREY = 0.18
STRIP = (0.90, GREY, 0.035)
"""Reflectances of the white, grey and black step, top to bottom."""


@dataclass
class Studio:
    """A scene under construction: the renderer's dictionary and the band colours of its parts.

    `bands` are the centres of the bands, nm, a multiple of three; `surfaces` are the colours that have a name.
    """

    parts: dict[str, Any] = field(default_factory=lambda: {"type": "scene"})
    colours: dict[str, Array] = field(default_factory=dict)
    textures: dict[str, Array] = field(default_factory=dict)
    bands: Array = field(default_factory=fibres.BANDS.copy)
    surfaces: dict[str, list[float]] = field(default_factory=SURFACES.copy)

    def colour(self, name: str) -> Array:
        """Band reflectances of a named surface."""
        return self.spread(self.surfaces[name])

    def spread(self, reflectances: Sequence[float] | Array) -> Array:
        """Band reflectances from those at 400, 500, 550, 600 and 706 nm."""
        return np.interp(self.bands, KNOTS, reflectances)

    def add(self, name: str, shape: dict[str, Any], colour: str | Array, gloss: float | None = None) -> None:
        """Add a shape of a plain colour; `gloss` is the roughness of a shiny coat, if any."""
        bands = self.colour(colour) if isinstance(colour, str) else np.asarray(colour, float)
        value = {"type": "rgb", "value": [float(v) for v in bands[:3]]}
        if gloss is None:
            surface: dict[str, Any] = {"type": "diffuse", "reflectance": value}
            self.colours[f"{name}.bsdf.reflectance.value"] = bands
        else:
            surface = {"type": "roughplastic", "diffuse_reflectance": value, "alpha": gloss}
            self.colours[f"{name}.bsdf.diffuse_reflectance.value"] = bands
        self.parts[name] = {**shape, "surface": surface}

    def add_fibres(self, name: str, curves: Path, sigma: Array) -> None:
        """Add hair strands of one colour."""
        value = {"type": "rgb", "value": [float(v) for v in sigma[:3]]}
        surface = {
            "type": "hair",
            "sigma_a": value,
            "longitudinal_roughness": 0.30,
            "azimuthal_roughness": 0.35,
            "scale_tilt": 2.0,
        }
        self.parts[name] = {"type": "bsplinecurve", "filename": str(curves), "surface": surface}
        self.colours[f"{name}.bsdf.sigma_a.value"] = sigma


def at(x: float, y: float, z: float) -> Any:
    """A move by (x, y, z) cm."""
    return mi.ScalarTransform4f().translate([x, y, z])


def box(x: float, y: float, z: float, size: tuple[float, float, float]) -> dict[str, Any]:
    """A box by its middle and its full sizes, cm."""
    return {"type": "cube", "to_world": at(x, y, z) @ mi.ScalarTransform4f().scale([s / 2 for s in size])}


def tube(p0: list[float], p1: list[float], radius: float) -> dict[str, Any]:
    """A straight tube, cm."""
    return {"type": "cylinder", "p0": p0, "p1": p1, "radius": radius}


def round_mesh(path: Path, middle: Array, axes: Array, power: float = 2.0, folds: float = 0.0) -> dict[str, Any]:
    """A superellipsoid written as a mesh; `folds` is the relative depth of the folds of a cloth."""
    nu, nv = 240, 120
    th, ph = np.meshgrid(np.pi * np.arange(nv + 1) / nv, 2 * np.pi * np.arange(nu) / nu, indexing="ij")
    d = np.stack([np.sin(th) * np.cos(ph), np.cos(th), np.sin(th) * np.sin(ph)], -1) * axes
    r = np.sum(np.abs(d / axes) ** power, -1) ** (-1.0 / power)
    down = np.clip((th / np.pi - 0.18) / 0.3, 0, 1)
    r = r * (1 + folds * down * (np.sin(11 * ph + 1.5 * np.sin(3 * th)) + 0.6 * np.sin(23 * ph + 2 * th) - 0.8))
    lines = ["v {:.4f} {:.4f} {:.4f}".format(*p) for p in (middle + d * r[..., None]).reshape(-1, 3)]
    for i in range(nv):
        for j in range(nu):
            a, b = i * nu + j + 1, i * nu + (j + 1) % nu + 1
            lines += [f"f {a} {b} {b + nu}", f"f {a} {b + nu} {a + nu}"]
    path.write_text("\n".join(lines) + "\n")
    return {"type": "obj", "filename": str(path), "face_normals": False}


def add_wall(studio: Studio, relief: Array) -> None:
    """The wall behind the client; `relief` (h, w) is its lightness from place to place, 1 on average."""
    data = mi.TensorXf(np.full((*relief.shape, 3), 0.5, np.float32))
    studio.textures["wall.bsdf.reflectance.data"] = relief
    studio.colours["wall.bsdf.reflectance.data"] = studio.colour("wall")
    studio.parts["wall"] = {
        "type": "rectangle",
        "to_world": at(0, 0, WALL_Z) @ mi.ScalarTransform4f().scale(150),
        "surface": {"type": "diffuse", "reflectance": {"type": "bitmap", "raw": True, "data": data}},
    }


def add_room(studio: Studio, rng: np.random.Generator) -> None:
    """Plaster wall, a wooden shelf with bottles, a plant on a ledge."""
    noise = sum(gaussian_filter(rng.normal(0, a, (512, 512)), s, mode="wrap") for a, s in ((0.5, 10), (0.12, 3)))
    add_wall(studio, np.clip(1 + noise, 0.85, 1.12))
    z = WALL_Z + 9
    studio.add("shelf", box(-44, 8, z, (46, 2.2, 17)), "wood")
    studio.add("shelf2", box(-44, -24, z, (46, 2.2, 17)), "wood")
    row = [(-27, 2.6, 15, "amber"), (-33, 2.9, 19, "cream"), (-38.5, 2.2, 12, "bottle"), (-44, 3.0, 17, "amber")]
    move = mi.ScalarTransform4f()
    for i, (x, r, h, colour) in enumerate(row):
        for level, y in (("a", 9.1), ("b", -22.9)):
            shade = row[(i + 1) % 4][3] if level == "b" else colour
            tall = h if level == "a" else h * 0.8
            studio.add(f"bottle{level}{i}", tube([x, y, z + 2], [x, y + tall * 0.72, z + 2], r), shade, 0.15)
            neck = tube([x, y + tall * 0.7, z + 2], [x, y + tall, z + 2], r * 0.42)
            studio.add(f"neck{level}{i}", neck, "stand", 0.2)
            lid = at(x, y + tall * 0.72, z + 2) @ move.rotate([1, 0, 0], -90) @ move.scale(r)
            studio.add(f"top{level}{i}", {"type": "disk", "to_world": lid}, shade, 0.15)


def add_plant(studio: Studio, folder: Path, rng: np.random.Generator) -> None:
    """A plant in a hanging pot, far right, out of focus."""
    pot = np.array([41.0, 22.0, WALL_Z + 16])
    studio.add("pot", round_mesh(folder / "pot.obj", pot, np.array([7.5, 6.5, 7.5]), 3.0), "pot", 0.3)
    leaf = round_mesh(folder / "leaf.obj", np.zeros(3), np.array([1.0, 1.0, 1.0]))
    move = mi.ScalarTransform4f()
    for i in range(90):
        turn, drop = rng.uniform(0, 2 * np.pi), rng.uniform(0, 1) ** 1.4
        reach = 7 + 7 * np.sin(np.pi * min(drop * 1.4, 1.0)) * rng.uniform(0.5, 1.2)
        p = pot + np.array([reach * np.cos(turn), 8 - 34 * drop + rng.uniform(-2, 2), 0.6 * reach * np.sin(turn)])
        place = at(*p) @ move.rotate([0, 0, 1], rng.uniform(-60, 60)) @ move.rotate([1, 0, 0], rng.uniform(-60, 60))
        shape = {**leaf, "to_world": place @ move.scale([1.1, rng.uniform(2.0, 3.4), 0.15])}
        studio.add(f"leaf{i}", shape, studio.colour("leaf") * rng.uniform(0.6, 1.5), 0.25)


def add_client(studio: Studio, folder: Path) -> None:
    """Head, neck and a dark cape."""
    studio.add("head", round_mesh(folder / "head.obj", np.zeros(3), strands.HEAD * 0.985), "skin")
    studio.add("neck", tube([0, -4, -0.5], [0, -24, -2.5], 5.6), "skin")
    body = round_mesh(folder / "cape.obj", strands.BODY_AT, strands.BODY, strands.BODY_POWER, 0.028)
    studio.add("cape", body, "cape", 0.35)
    collar = round_mesh(folder / "collar.obj", np.array([0, -20.5, -2.2]), np.array([6.6, 2.4, 6.6]), 2.5)
    studio.add("collar", collar, "cape", 0.35)


def add_lights(studio: Studio, light: dict[str, Any]) -> None:
    """A soft surround, a window to the left, a ceiling panel and a lamp by the camera; radiance in relative units."""
    studio.parts["surround"] = {"type": "constant", "radiance": {"type": "rgb", "value": [light["surround"]] * 3}}
    for name in ("window", "ceiling", "lamp"):
        one = light[name]
        place = mi.ScalarTransform4f().look_at(origin=one["at"], target=one.get("aim", [0, -12, 4]), up=[0.1, 1, 0.1])
        place = place @ mi.ScalarTransform4f().scale([one["size"][0] / 2, one["size"][1] / 2, 1])
        studio.parts[name] = {
            "type": "rectangle",
            "to_world": place,
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [one["radiance"]] * 3}},
        }


def add_card(studio: Studio, card: dict[str, Any], chart: Array | None = None) -> Array:
    """A card, strip or chart on a thin stand; returns its corners (4, 3) cm, clockwise from its own top left."""
    t = mi.ScalarTransform4f()
    place = at(*card["at"]) @ t.rotate([0, 0, 1], card["roll"])
    place = place @ t.rotate([0, 1, 0], card["yaw"]) @ t.rotate([1, 0, 0], card["pitch"])
    hw, hh = card["size"][0] / 2, card["size"][1] / 2

    def patch(name: str, x: float, y: float, half: tuple[float, float], colour: Array, z: float = 0.0) -> None:
        where = place @ t.translate([x, y, z]) @ t.scale([*half, 1])
        studio.add(name, {"type": "rectangle", "to_world": where}, colour)

    flat = np.ones_like(studio.bands)
    if card["kind"] == "grey18":
        patch("card", 0, 0, (hw, hh), GREY * flat)
    elif card["kind"] == "steps3":
        patch("card", 0, 0, (hw + 0.4, hh + 0.4), 0.03 * flat, -0.05)
        for i, r in enumerate(STRIP):
            patch(f"card{i}", 0, hh - (2 * i + 1) * hh / 3, (hw, hh / 3), r * flat)
    else:
        assert chart is not None
        patch("card", 0, 0, (hw + 0.3, hh + 0.3), 0.035 * flat, -0.05)
        for i, colour in enumerate(chart):
            x, y = -hw + (i % 6 + 0.5) * hw / 3, hh - (i // 6 + 0.5) * hh / 2
            patch(f"card{i}", x, y, (hw / 6 * 0.84, hh / 4 * 0.84), colour)
    foot = np.array((place @ t.translate([0, -hh - 0.9, -0.4])).matrix)[:3, 3]
    clip = {"type": "cube", "to_world": place @ t.translate([0, -hh - 0.85, -0.3]) @ t.scale([1.5, 0.8, 0.5])}
    studio.add("clip", clip, "stand", 0.3)
    studio.add("rod", tube(list(foot), [foot[0], -90.0, foot[2]], 0.45), "stand", 0.3)
    corners = np.array([[-hw, hh, 0, 1], [hw, hh, 0, 1], [hw, -hh, 0, 1], [-hw, -hh, 0, 1]])
    return (np.array(place.matrix) @ corners.T).T[:, :3]


def sensor(camera: dict[str, Any], width: int, height: int) -> dict[str, Any]:
    """The camera: a thin lens focused on the hair."""
    return {
        "type": "thinlens",
        "fov": camera["fov"],
        "fov_axis": "larger",
        "aperture_radius": camera["aperture_cm"],
        "focus_distance": camera["focus_cm"],
        "to_world": mi.ScalarTransform4f().look_at(origin=camera["eye"], target=camera["target"], up=[0, 1, 0]),
        "film": {
            "type": "hdrfilm",
            "width": width,
            "height": height,
            "pixel_format": "rgb",
            "rfilter": {"type": "gaussian"},
        },
        "sampler": {"type": "independent"},
    }


def project(camera: dict[str, Any], points: Array, width: int, height: int) -> Array:
    """Pixels (n, 2) of points (n, 3) cm; the origin is the top-left corner of the top-left pixel."""
    eye = np.array(camera["eye"], float)
    ahead = np.array(camera["target"], float) - eye
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0, 1, 0])
    right /= np.linalg.norm(right)
    up = np.cross(right, ahead)
    d = np.asarray(points) - eye
    scale = max(width, height) / 2 / np.tan(np.radians(camera["fov"]) / 2) / (d @ ahead)
    return np.stack([width / 2 + (d @ right) * scale, height / 2 - (d @ up) * scale], -1)
