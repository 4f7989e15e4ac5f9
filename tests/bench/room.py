"""Light in a studio that falls on hair, cards and the wall behind them, each where it stands.

One lamp before the client with what comes from all round; the wall stands behind the hair, so it sees the lamp at
another angle and distance, and the client's shadow falls on it. Ranges are a choice of our own, drawn evenly, in
centimetres about the middle of the picture: x to the right, y up, z towards the camera.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.maths.colorimetry import Floats

WALL, HAIR, CARD, SECOND = range(4)
"""What a pixel shows: `SECOND` is a second grey card, on the other side of the hair."""

_CAMERA = 110.0  # from the hair to the camera
_PIXEL = 0.09  # width of a pixel at the hair
_HEAD = 12.0  # half width of what casts the shadow

Surfaces = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Room:
    """What differs between rooms.

    Attributes
    ----------
    own : float, largest share of the wall's light that comes from a lamp near the wall
    same_seat : bool, the photos of one kit are taken at one place, up to 10 cm; else each at a place of its own
    two_colours : bool, what comes from all round has another lamp's colour
    """

    own: float = 0.0
    same_seat: bool = False
    two_colours: bool = False


def light(room: Room, surfaces: Surfaces, place: np.random.Generator, photo: np.random.Generator) -> tuple[Floats, ...]:
    """Light of the lamp and light from all round in each pixel, together 1 on the card.

    Parameters
    ----------
    surfaces : (rows, columns), what each pixel shows
    place, photo : draw what belongs to the seat and what is new in every photo
    """
    if not room.same_seat:
        place = photo
    depths = np.array([-place.uniform(40, 120), 0.0, *photo.uniform(-8, 8, 2)])
    z = depths[surfaces]
    step = _PIXEL * (_CAMERA - z) / _CAMERA
    rows, columns = surfaces.shape
    x = (np.arange(columns) + 0.5 - columns / 2) * step
    y = (rows / 2 - np.arange(rows)[:, None] - 0.5) * step
    at, wall = np.stack([x, y, z], -1), surfaces == WALL
    turn, height = np.radians(place.choice([-1, 1]) * place.uniform(10, 60)), np.radians(place.uniform(0, 50))
    away, size, around = place.uniform(120, 300), place.uniform(30, 100), place.uniform(0.25, 0.6)
    towards = np.array([np.sin(turn) * np.cos(height), np.sin(height), np.cos(turn) * np.cos(height)])
    lamp = away * towards + photo.uniform(-10, 10, 3)
    direct = _falls(lamp, at)
    direct *= (1 - around) / direct[surfaces == HAIR].mean()
    direct[wall] *= 1 - _shadow(lamp, size, at[wall])
    before_wall = depths[WALL] + place.uniform(30, 100)
    beside = np.array([place.choice([-1, 1]) * place.uniform(60, 200), place.uniform(-20, 100), before_wall])
    near, share = _falls(beside, at[wall]), place.uniform(0, room.own)
    direct[wall] += share / (1 - share) * near / near.mean() * (direct[wall].mean() + around)
    whole = (direct + around)[surfaces == CARD].mean()
    return direct / whole, np.full(surfaces.shape, around / whole)


def _falls(lamp: Floats, at: Floats) -> Floats:
    """Light of a small lamp on surfaces that face the camera: by the cosine and the square of the distance."""
    way = lamp - at
    return np.asarray(np.maximum(way[..., 2], 0) / np.linalg.norm(way, axis=-1) ** 3)


def _shadow(lamp: Floats, size: float, at: Floats) -> Floats:
    """Share of the lamp that the head hides from places on the wall, softer the larger the lamp."""
    behind = -at[:, 2] / lamp[2]
    middle = -lamp[:2] * behind[:, None]
    sharp, soft = _HEAD * (1 + behind), size / 2 * behind
    wide = sharp**2 + soft**2
    return np.asarray(sharp**2 / wide * np.exp(-np.sum((at[:, :2] - middle) ** 2, axis=-1) / wide))
