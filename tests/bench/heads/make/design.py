"""Draw the heads of the bench: python design.py DESIGN.json [NUMBER]

Each head is invented: its hair, two looks of it (alike on every other head), a room, a seat, and three photos of each
look, between which the hair is laid anew and the card is taken up again. Every number comes from the head's own seed.
Lengths are in centimetres, angles in degrees.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

Facts = dict[str, Any]
Rng = np.random.Generator

WALLS = {  # reflectance at the wavelengths of studio.KNOTS
    "white": [0.60, 0.72, 0.75, 0.76, 0.77],
    "grey": [0.33, 0.35, 0.35, 0.35, 0.36],
    "dark": [0.07, 0.08, 0.08, 0.085, 0.09],
    "beige": [0.30, 0.42, 0.50, 0.56, 0.62],
    "brown": [0.06, 0.10, 0.14, 0.20, 0.30],
    "blue": [0.22, 0.28, 0.25, 0.20, 0.22],
    "green": [0.12, 0.26, 0.30, 0.22, 0.25],
    "rose": [0.35, 0.36, 0.38, 0.52, 0.60],
}
CAPES = {  # some are as dark, brown or light as hair
    "black": [0.03, 0.027, 0.026, 0.026, 0.028],
    "brown": [0.035, 0.055, 0.075, 0.105, 0.16],
    "dark brown": [0.02, 0.026, 0.033, 0.045, 0.07],
    "blond": [0.16, 0.26, 0.34, 0.42, 0.50],
    "white": [0.6, 0.7, 0.72, 0.73, 0.74],
    "red": [0.05, 0.045, 0.05, 0.30, 0.42],
    "navy": [0.06, 0.05, 0.04, 0.035, 0.05],
}
LIGHTS = {  # radiance, relative
    "soft": {"surround": 0.75, "window": 0.5, "ceiling": 0.9, "lamp": 0.6},
    "window": {"surround": 0.22, "window": 2.6, "ceiling": 0.5, "lamp": 0.3},
    "ceiling and lamp": {"surround": 0.20, "window": 0.5, "ceiling": 1.8, "lamp": 4.5},
    "near lamp": {"surround": 0.12, "window": 0.2, "ceiling": 0.3, "lamp": 9.0},
}
SPECTRA = {  # CIE illuminants that may go with a light
    "soft": ["D65", "D50", "LED-V1"],
    "window": ["D65", "D50"],
    "ceiling and lamp": ["LED-B3", "FL11", "LED-B2"],
    "near lamp": ["A", "LED-B3", "LED-B2"],
}
DENSITIES = {"thin": (15000, 0.08), "medium": (24000, 0.13), "thick": (36000, 0.19)}
"""Strands and volume."""
WAVES = {"straight": 0.15, "wavy": 1.2, "very wavy": 2.0}
CHANGES = ("painted", "refresh", "toned", "subtle", "shadow root", "darker")
HEADS, PHOTOS = 64, 3
LAYS = 4
"""How often a look is laid anew for its true colour; an unchanged head needs two only, because its change is 0."""


def _round(value: float, digits: int = 2) -> float:
    return round(float(value), digits)


def natural(level: float, rng: Rng) -> Facts:
    """Melanin of natural hair of a level."""
    eu = 1.5 * (0.075 / 1.5) ** ((level - 2) / 7)
    pheo = (0.03 + 0.27 * eu) * rng.uniform(0.7, 1.4)
    return {"eu": _round(eu * rng.uniform(0.92, 1.08), 4), "pheo": _round(pheo, 4)}


def lightened(nat: Facts, lift: float) -> Facts:
    """Melanin left after lightening by a share: eumelanin goes first."""
    eu, pheo = nat["eu"] * (1 - lift) ** 2.2, nat["pheo"] * (1 - lift) ** 1.1
    return {"eu": _round(max(eu, 0.012), 4), "pheo": _round(max(pheo, 0.03), 4)}


def paint(rng: Rng, coverage: float, length: float) -> Facts:
    """Hand painting of a share of the locks."""
    return {
        "coverage": _round(coverage, 3),
        "uneven": _round(rng.uniform(0.05, 0.25), 3),
        "start_cm": _round(rng.uniform(3, 0.28 * length)),
        "spread_cm": _round(rng.uniform(0.6, 1.6)),
        "melt_cm": _round(rng.uniform(4, 16)),
        "rest": _round(rng.uniform(0, 0.12), 3),
    }


def looks(kind: str, nat: Facts, rng: Rng, length: float) -> tuple[Facts, Facts]:
    """The two looks of one head, by what is done to it."""
    light = lightened(nat, rng.uniform(0.55, 0.85))
    toner = [
        [_round(rng.uniform(0.015, 0.05), 4), 575, 42],
        [_round(rng.uniform(0.005, 0.025), 4), 615, 40],
    ]
    coverage = rng.uniform(0.2, 0.8)
    plain = {"natural": nat}
    painted: Facts = {"natural": nat, "lightened": light, "paint": paint(rng, coverage, length)}
    toned = {**painted, "toner": toner}
    if kind == "same natural":
        return plain, plain
    if kind == "same painted":
        same = toned if rng.random() < 0.5 else painted
        return same, same
    if kind == "painted":
        return plain, toned if rng.random() < 0.6 else painted
    if kind == "toned":
        return (painted, toned) if rng.random() < 0.7 else (toned, painted)
    return _repainted(kind, nat, rng, painted, coverage)


def _repainted(kind: str, nat: Facts, rng: Rng, painted: Facts, coverage: float) -> tuple[Facts, Facts]:
    brush = painted["paint"]
    start = brush["start_cm"]
    if kind == "refresh":
        more = _round(min(coverage + rng.uniform(0.1, 0.3), 0.95), 3)
        return painted, {
            **painted,
            "paint": {**brush, "coverage": more, "start_cm": _round(start * rng.uniform(0.5, 0.9))},
        }
    if kind == "subtle":
        little = {**brush, "coverage": _round(rng.uniform(0.1, 0.25), 3)}
        return {"natural": nat}, {**painted, "paint": little, "lightened": lightened(nat, rng.uniform(0.25, 0.5))}
    if kind == "shadow root":
        start = min(start, 5.0)
        lower = {**brush, "start_cm": _round(start + rng.uniform(4, 8)), "melt_cm": max(brush["melt_cm"], 8.0)}
        return {**painted, "paint": {**brush, "start_cm": _round(start)}}, {**painted, "paint": lower}
    assert kind == "darker"  # a glaze over everything
    dyes = [[_round(rng.uniform(0.03, 0.12), 4), 500, 70], [_round(rng.uniform(0.02, 0.08), 4), 600, 60]]
    return painted, {**painted, "dyes": dyes}


def hair(rng: Rng, density: str, wave: str, length: float, parted: bool) -> Facts:
    """How the hair grows and lies; see strands.grow."""
    strands, volume = DENSITIES[density]
    return {
        "strands": strands,
        "radius_cm": 0.019,
        "volume": volume,
        "length_cm": round(length, 1),
        "parted": _round(rng.uniform(-2.5, 2.5)) if parted else None,
        "waves": WAVES[wave],
        "period_cm": _round(rng.uniform(6, 12), 1),
        "clump": _round(rng.uniform(0.45, 0.8)),
        "locks": int(rng.integers(55, 110)),
        "curls": int(rng.integers(500, 1100)),
        "frizz_cm": _round(rng.uniform(0.06, 0.16), 3),
    }


def seat(rng: Rng, length: float) -> Facts:
    """Where lamp, camera and card stand before anybody moves, and on which side (1 right, -1 left) the card is."""
    lamp = [rng.uniform(-55, 40), rng.uniform(25, 60), rng.uniform(95, 130)]
    eye = [rng.uniform(0, 5), rng.uniform(-8, 0), rng.uniform(110, 128)]
    side = 1 if rng.random() < 0.75 else -1
    card = [side * rng.uniform(16.0, 18.5), rng.uniform(-18, -6), rng.uniform(7, 12)]
    held = bool(rng.random() < 0.6)
    rng.random()  # drawn when the bench was first made; without it every later number would be another
    target = [3.0 * side, -5 - 0.2 * length, 0.0]
    return {"lamp": lamp, "eye": eye, "target": target, "side": side, "card": card, "size": [8.4, 11.6], "held": held}


def photos(rng: Rng, number: int, at: Facts) -> list[Facts]:
    """Three photos of each look: the spot differs between looks, card, camera and turn of the head between photos."""
    held, side, card, lamp, eye, target = (at[k] for k in ("held", "side", "card", "lamp", "eye", "target"))
    shift, roll, tilt = (1.6, 4, 6) if held else (0.5, 2, 2)
    found = []
    for state in range(2):
        spot = rng.normal(0, 1, 6)
        for k in range(PHOTOS):
            j = rng.normal(0, 1, 14)
            across = min(abs(card[0]) + abs(shift * 0.6 * j[6]), 19.5)
            shot = {
                "turn": 2.5 * j[0],
                "eye": [eye[0] + 1.6 * j[1] + 0.8 * spot[0], eye[1] + 1.2 * j[2], eye[2] + 2.5 * j[3] + 2 * spot[1]],
                "target": [target[0] + 0.7 * j[4], target[1] + 0.8 * j[5], 0.0],
                "card": [side * across, card[1] + shift * 1.2 * j[7], card[2] + shift * 0.8 * j[8]],
                "roll": roll * j[9],
                "yaw": tilt * j[10],
                "pitch": tilt * j[11],
                "lamp": [
                    lamp[0] + 5 * spot[2] + 2 * j[12],
                    lamp[1] + 4 * spot[3],
                    lamp[2] + 3 * spot[4] + 1.5 * j[13],
                ],
            }
            rounded = {key: [_round(v) for v in x] if isinstance(x, list) else _round(x) for key, x in shot.items()}
            window = _round(np.exp(0.12 * spot[5]), 4)
            names = {"name": f"{number:02d}_{'ab'[state]}{k}", "state": state, "lay": 100 * state + k + 1}
            found.append({**names, **rounded, "window_gain": window})
    return found


def rounds(number: int, heads: int) -> Facts:
    """What goes round from head to head, at different paces, so that light, length and so on do not go together."""
    changed = number % 2 == 1
    unchanged = "same natural" if number % 6 == 0 else "same painted"
    return {
        "kind": CHANGES[(number // 2) % len(CHANGES)] if changed else unchanged,
        "changed": changed,
        "level": 2 + 7 * ((number * 5) % heads) / (heads - 1),
        "length": [28, 40, 52][(number // 2) % 3],
        "density": list(DENSITIES)[(number // 3) % 3],
        "wave": list(WAVES)[(number // 5) % 3],
        "parted": bool((number // 4) % 2),
        "light": list(LIGHTS)[(number // 3) % 4],
        "camera": "measured" if number % 3 else "ideal",
        "busy": number % 4 in (2, 3),
    }


def head(number: int, heads: int = HEADS) -> Facts:
    """One head of so many."""
    rng = np.random.default_rng([2026, number])
    about = rounds(number, heads)
    level, length = about["level"], float(about["length"] + rng.uniform(-3, 3))
    nat = natural(level, rng)
    both = looks(about["kind"], nat, rng, length)
    wall = list(WALLS)[int(rng.integers(len(WALLS)))]
    alike = "brown" if level < 6 else "blond"  # a cape much like the hair
    cape = alike if number % 5 == 0 else list(CAPES)[int(rng.integers(len(CAPES)))]
    grown = hair(rng, about["density"], about["wave"], length, about["parted"])
    at = seat(rng, length)
    taken = photos(rng, number, at)
    spectra = SPECTRA[about["light"]]
    spectrum = spectra[int(rng.integers(len(spectra)))]
    rng.integers(3)  # as in `seat`
    return {
        "name": f"{number:02d}",
        "seed": 500 + number,
        **about,
        "level": round(level, 2),
        "length": round(length, 1),
        "spectrum": spectrum,
        "wall": wall,
        "cape": cape,
        "wall_seed": int(rng.integers(1_000_000)),
        "hair": grown,
        "looks": both,
        "seat": at,
        "photos": taken,
    }


def main() -> None:
    """Command line."""
    number = int(sys.argv[2]) if len(sys.argv) > 2 else HEADS
    Path(sys.argv[1]).write_text(json.dumps([head(k, number) for k in range(number)]) + "\n")


if __name__ == "__main__":
    main()
