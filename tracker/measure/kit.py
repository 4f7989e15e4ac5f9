"""What a photo was taken with, and whether two photos come from the same kit.

Only photos from one kit share the error that the camera's rendering and the card's grey put into every colour.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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
    """

    camera: str | None
    card_kind: str
    light: str | None
    developed: bool = False
    gains: Vector3 | None = None
    method: str = ""
    reflectance: float | None = None


@dataclass(frozen=True, slots=True)
class KitMatch:
    """Whether two photos come from the same kit, a sentence for the person, and the light noted for either."""

    same: bool
    says: str
    light: str | None = None


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


def was_developed(reading: PhotoReading | None) -> bool:
    """True where `reading` comes from a camera's raw file."""
    return reading is not None and any(check.name == RAW for check in reading.checks)


def match_kits(before: Kit, after: Kit) -> KitMatch:
    """Whether two kits are the same; what nobody noted counts as the same, and the answer says so.

    Parameters
    ----------
    before, after : Kit, of the two photos
    """
    unlike = []
    if before.camera and after.camera and before.camera != after.camera:
        unlike.append("another camera")
    if before.developed != after.developed:
        unlike.append("another kind of file")
    if before.card_kind != after.card_kind or _other_grey(before, after):
        unlike.append("another card")
    if (before.light and after.light and before.light != after.light) or _cast_apart(before, after) > _LARGEST_CAST:
        unlike.append("another light")
    light = before.light or after.light
    reasons = [f"taken with {' and '.join(unlike)}"] if unlike else []
    if before.method and after.method and before.method != after.method:
        reasons.append(f"measured by versions {before.method} and {after.method} of the method")
    if reasons:
        return KitMatch(False, f"{', and '.join(reasons).capitalize()}, so the result is less certain.", light)
    pairs = (("camera", before.camera and after.camera), ("light", before.light and after.light))
    missing = [word for word, known in pairs if not known]
    if len(missing) == 1:
        return KitMatch(True, f"The {missing[0]} was not noted and is assumed to be the same.", light)
    if missing:
        return KitMatch(True, "Camera and light were not noted and are assumed to be the same.", light)
    return KitMatch(True, "Same camera, card and light.", light)
