"""What a photo was taken with, and whether two photos come from the same kit.

Only photos from one kit share the error that the camera's rendering and the card's grey put into every colour.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tracker.maths.quantities import Vector3
from tracker.measure.balance_line import balance_move
from tracker.measure.quality import RAW
from tracker.measure.reading import PhotoReading

# a camera's white balance wanders by 10 to 15 % under one light; more is worth a word: a weak choice of our own
_WANDERS = 0.25


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
    rebalanced : bool, True where the cards look further apart in colour than a camera's balance wanders by itself
    """

    unlike: tuple[Part, ...]
    methods: tuple[str, ...]
    assumed: tuple[Part, ...]
    light: str | None
    rebalanced: bool = False

    @property
    def same(self) -> bool:
        """True where nothing is known to differ."""
        return not self.unlike and not self.methods


def _rebalanced(before: Kit, after: Kit) -> bool:
    """True where some channel's gain, against green's, differs by more than `_WANDERS`, natural log."""
    if before.gains is None or after.gains is None:
        return False
    ratio = np.log(np.asarray(after.gains) / np.asarray(before.gains))
    return bool(np.abs(ratio - ratio[1]).max() > _WANDERS)


def _another_light(before: Kit, after: Kit) -> bool:
    """True where different lights were noted or, where one was not, no balance explains how the cards look."""
    if before.light and after.light:
        return before.light != after.light
    if before.gains is None or after.gains is None:
        return False
    return balance_move(before.gains, after.gains).another_light


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
        "light": _another_light(before, after),
    }
    noted: dict[Part, bool] = {"camera": all(cameras), "light": all(lights)}
    methods = before.method, after.method
    return KitMatch(
        tuple(part for part, is_other in differs.items() if is_other),
        methods if all(methods) and methods[0] != methods[1] else (),
        tuple(part for part, is_known in noted.items() if not is_known),
        before.light or after.light,
        _rebalanced(before, after),
    )


def first_unlike(matches: Sequence[KitMatch]) -> KitMatch:
    """The match that stands for all of them: the first that is not the same, else the first, rebalanced if any is.

    Parameters
    ----------
    matches : at least one, of photos with the same first
    """
    unlike = next((match for match in matches if not match.same), None)
    return unlike or replace(matches[0], rebalanced=any(match.rebalanced for match in matches))
