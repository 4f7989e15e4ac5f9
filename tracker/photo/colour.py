"""What the code values of an opened photo mean, from its profile, its colour tags, or neither.

References
----------
[1] ITU-T H.273 (07/2024), tables 2 and 3: code points of primaries and transfer functions.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from PIL import Image

from tracker.errors import UnsupportedFormat
from tracker.maths.rgb_space import ADOBE_RGB, DISPLAY_P3, SRGB, ParametricCurve, RgbSpace
from tracker.photo.claims import check_profile
from tracker.photo.colour_engine import EngineProfile, engine_profile
from tracker.photo.metadata import Tags, states_adobe_rgb
from tracker.photo.png_tags import code_points, stated_space, states_colours
from tracker.photo.profile import parse_profile

_NCLX_BOX = b"colrnclx"
_HIGH_DYNAMIC_RANGE = {16, 18}  # PQ and HLG [1]
_STANDARD_TRANSFERS = {1, 2, 6, 13}  # BT.709, unspecified, BT.601, sRGB: cameras mean the sRGB curve by all four
_PLAIN_TRANSFERS = {4: 2.2, 5: 2.8, 8: 1.0}  # exponents; 8 is linear
_PRIMARIES = {1: SRGB, 2: SRGB, 12: DISPLAY_P3}
_GREY_MODES = ("1", "L", "LA")


@dataclass(frozen=True, slots=True)
class Meaning:
    """What code values mean.

    Attributes
    ----------
    space : RgbSpace of the code values, after the engine where there is one
    warnings : strings, as in `Photo.warnings`
    engine : the profile to convert through first, or None
    """

    space: RgbSpace
    warnings: tuple[str, ...] = ()
    engine: EngineProfile | None = None


def meaning_of(image: Image.Image, content: bytes, tags: Tags) -> Meaning:
    """What the code values of a photo mean; sRGB where the file does not say.

    A PNG's code points count first, then its profile, the mark of sRGB, and primaries with an exponent.

    Parameters
    ----------
    image : the opened photo
    content : bytes of the file
    tags : its EXIF tags

    Raises
    ------
    UnsupportedFormat : high dynamic range, or four inks (CMYK) without a profile that can be used
    TooLarge, Unreadable : a profile that claims too much, see `check_profile`
    """
    codes = code_points(content) if image.format == "PNG" else None
    by_codes = _meaning_of_codes(*codes) if codes else None
    if by_codes and not by_codes.warnings:  # unknown codes leave it to the other tags
        return by_codes
    icc = image.info.get("icc_profile")
    check_profile(icc or b"")
    if icc or image.mode == "CMYK":
        return _meaning_of_profile(image.mode, icc or b"")
    if image.format in ("HEIF", "AVIF"):
        return _meaning_of_codes(*_colour_codes(image, content))
    if image.format == "PNG" and states_colours(image.info):
        return _known_or_assumed(stated_space(image.info))
    return by_codes or Meaning(ADOBE_RGB if states_adobe_rgb(tags) else SRGB)


def _meaning_of_profile(mode: str, icc: bytes) -> Meaning:
    if mode == "CMYK":
        engine = engine_profile(icc)
        if engine is None or engine.mode != "CMYK":
            raise UnsupportedFormat("The photo is in printing inks (CMYK) of unknown colour.", "Save it as sRGB JPEG.")
        return Meaning(SRGB, ("profile_converted",), engine)
    space = parse_profile(icc)
    if space is not None:
        return Meaning(space)
    engine = engine_profile(icc)
    grey = mode in _GREY_MODES or mode.startswith("I;16")
    if engine is None or engine.mode not in (("RGB", "L") if grey else ("RGB",)):
        return Meaning(SRGB, ("profile_unreadable",))
    return Meaning(SRGB, ("profile_converted",), engine)


def _meaning_of_codes(primaries: int, transfer: int) -> Meaning:
    if transfer in _HIGH_DYNAMIC_RANGE:
        raise UnsupportedFormat(
            "The photo has a high dynamic range, which cannot be measured.", "Turn HDR off in the camera."
        )
    space = _PRIMARIES.get(primaries)
    if space is not None and transfer in _PLAIN_TRANSFERS:
        return Meaning(RgbSpace("matrix profile", space.to_xyz, (ParametricCurve(_PLAIN_TRANSFERS[transfer]),) * 3))
    return _known_or_assumed(space if transfer in _STANDARD_TRANSFERS else None)


def _known_or_assumed(space: RgbSpace | None) -> Meaning:
    return Meaning(SRGB, ("profile_assumed",)) if space is None else Meaning(space)


def _colour_codes(image: Image.Image, content: bytes) -> tuple[int, int]:
    """Code points of primaries and transfer function [1]; 2 means unspecified."""
    stated = image.info.get("nclx_profile")
    if isinstance(stated, dict):
        return int(stated.get("color_primaries", 2)), int(stated.get("transfer_characteristics", 2))
    # Pillow does not pass on the codes of AVIF; the first such box belongs to the main picture
    start = content.find(_NCLX_BOX)
    if start < 0 or start + len(_NCLX_BOX) + 4 > len(content):
        return 2, 2
    primaries, transfer = struct.unpack_from(">HH", content, start + len(_NCLX_BOX))
    return primaries, transfer
