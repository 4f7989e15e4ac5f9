"""What a photo was taken with, and whether two photos come from the same kit.

Only photos from one kit share the error that the camera's rendering and the card's grey put into every colour.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.maths.quantities import Vector3
from tracker.measure.quality import RAW
from tracker.measure.reading import PhotoReading

# a camera's white balance wanders by 10 to 15 % under one light; more means a different light: a weak choice of our own
_LARGEST_CAST = 0.25


@dataclass(frozen=True, slots=True)
class Kit:
    """What a photo was taken with.

    Attributes
    ----------
    camera : str or None, as the camera wrote it
    card_kind : str
    light : str or None, None where nobody noted it
    developed : bool, True for a camera's raw file, which renders differently from the same camera's JPEG
    gains : three floats or None, that balanced the photo: they show the colour of its light
    method : str, version of the method that measured it, empty where nothing was measured
    reflectance : float or None, of the card's grey, 0..1
    dark : float or None, reflectance of the card's dark patch, 0..1; None for a card without one
    """

    camera: str | None
    card_kind: str
    light: str | None
    developed: bool = False
    gains: Vector3 | None = None
    method: str = ""
    reflectance: float | None = None
    dark: float | None = None


Part = Literal["camera", "kind of file", "card", "light"]

_ALIKE_IN_LIGHTNESS = ("1.2", "2.0")
"""Versions of the method that put the same error of camera and card into L*: along one ribbon in ten rendered photos
they differed by 0.09 at most."""


@dataclass(frozen=True, slots=True)
class KitMatch:
    """Whether two photos come from the same kit.

    Attributes
    ----------
    unlike : parts of the kit that differ
    methods : both versions of the method, where they differ
    assumed : parts that were not noted for both and are assumed to be the same
    light : str or None, noted for either
    """

    unlike: tuple[Part, ...]
    methods: tuple[str, ...]
    assumed: tuple[Part, ...]
    light: str | None

    @property
    def same(self) -> bool:
        """True where nothing is known to differ."""
        return not self.unlike and not self.methods


def _cast_apart(before: Kit, after: Kit) -> float:
    """Difference in the colour of the light on the two cards, natural log of a channel's ratio to green."""
    if before.gains is None or after.gains is None:
        return 0.0
    ratio = np.log(np.asarray(after.gains) / np.asarray(before.gains))
    return float(np.abs(ratio - ratio[1]).max())


def _other_grey(before: Kit, after: Kit) -> bool:
    """True where both cards' greys are known and differ."""
    if before.reflectance is None or after.reflectance is None:
        return False
    return not math.isclose(before.reflectance, after.reflectance, rel_tol=1e-6)


def _other_dark(before: Kit, after: Kit) -> bool:
    """True where both cards' dark patches are known and differ."""
    if before.dark is None or after.dark is None:
        return False
    return not math.isclose(before.dark, after.dark, rel_tol=1e-6)


def was_developed(reading: PhotoReading | None) -> bool:
    """True where `reading` comes from a camera's raw file."""
    return reading is not None and any(check.name == RAW for check in reading.checks)


def share_error(before: Kit, after: Kit) -> bool:
    """True where camera, card and light put the same error into the L* of both, however the hair was read.

    A version of the method that reads other hair leaves that error as it was, so a swatch, which is of one colour,
    stays of use for levels.

    Parameters
    ----------
    before, after : Kit, of two photos, the first perhaps of a swatch
    """
    match = match_kits(before, after)
    return not match.unlike and all(version in _ALIKE_IN_LIGHTNESS for version in match.methods)


def match_kits(before: Kit, after: Kit) -> KitMatch:
    """Whether two kits are the same; what nobody noted counts as the same, and the answer names it.

    Parameters
    ----------
    before, after : Kit, of the two photos
    """
    cameras, lights = (before.camera, after.camera), (before.light, after.light)
    differs: dict[Part, bool] = {
        "camera": all(cameras) and cameras[0] != cameras[1],
        "kind of file": before.developed != after.developed,
        "card": before.card_kind != after.card_kind or _other_grey(before, after) or _other_dark(before, after),
        "light": (all(lights) and lights[0] != lights[1]) or _cast_apart(before, after) > _LARGEST_CAST,
    }
    noted: dict[Part, bool] = {"camera": all(cameras), "light": all(lights)}
    methods = before.method, after.method
    return KitMatch(
        tuple(part for part, is_other in differs.items() if is_other),
        methods if all(methods) and methods[0] != methods[1] else (),
        tuple(part for part, is_known in noted.items() if not is_known),
        before.light or after.light,
    )
