"""What a PNG states about its colours besides a profile: code points, or primaries and an exponent.

References
----------
[1] W3C, Portable Network Graphics (PNG) Specification, third edition, 2025: chunks cHRM, gAMA, sRGB and cICP, and
    which of them counts.
[2] W3C Note, Using the ITU BT.2100 PQ EOTF with the PNG Format, 2017: a profile of this name means PQ.
[3] ITU-T H.273 (07/2024), tables 2 and 3.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from typing import Any

import numpy as np

from tracker.maths.colorimetry import D65, D65_XY, adaptation_matrix, primaries_to_xyz, white_xyz
from tracker.maths.quantities import Matrix3, matrix3
from tracker.maths.rgb_space import NAMED_SPACES, SRGB, ParametricCurve, RgbSpace

_PQ_PROFILE = b"ITUR_2100_PQ_FULL\0"  # [2]
_PQ = 16  # [3]
_SIGNATURE = 8  # bytes before the first chunk
_AROUND = 12  # bytes of a chunk besides its content: length, name, checksum
_NO_PRIMARIES = 0  # reserved [3]
_NEAR = 2e-3  # of an XYZ entry: chromaticities rounded to three digits stay below it
_FARTHEST_WHITE = 0.1  # from D65 in x and y: includes D50 and every white of a camera or a screen
_SRGB_EXPONENT = 0.45455  # what [1] tells programs to write beside the sRGB chunk
_EXPONENTS = 0.25, 1.0  # no camera's picture lies outside


def code_points(content: bytes) -> tuple[int, int] | None:
    """Code points of primaries and transfer function [3], which override everything else; None without them.

    Primaries are 0, meaning none, where the values are luma and chroma or do not use the whole range.
    """
    at = _SIGNATURE
    while at + _AROUND <= len(content):
        length, name = struct.unpack_from(">I4s", content, at)
        if name == b"IDAT":
            return None
        start = at + 8
        if name == b"cICP" and length == 4:
            primaries, transfer, matrix, full = content[start : start + 4]
            return (primaries if (matrix, full) == (0, 1) else _NO_PRIMARIES), transfer
        if name == b"iCCP" and content.startswith(_PQ_PROFILE, start):
            return _NO_PRIMARIES, _PQ
        at += _AROUND + length
    return None


def states_colours(tags: Mapping[Any, Any]) -> bool:
    """Whether a PNG without code points and profile says anything about its colours; `tags` as Pillow names them."""
    return not tags.keys().isdisjoint(("srgb", "gamma", "chromaticity"))


def stated_space(tags: Mapping[Any, Any]) -> RgbSpace | None:
    """The space that the tags of a PNG state, by Pillow's names; None where they do not define one.

    Notes
    -----
    Primaries alone mean the named space that has them; an exponent alone means the primaries of sRGB. With the
    primaries of a named space, the exponent that programs write for sRGB means the curve of sRGB.
    """
    if "srgb" in tags:
        return SRGB
    exponent = tags.get("gamma")
    to_xyz = _to_xyz(tags["chromaticity"]) if "chromaticity" in tags else SRGB.to_xyz
    if to_xyz is None:
        return None
    named = next((space for space in NAMED_SPACES if np.allclose(space.to_xyz, to_xyz, rtol=0, atol=_NEAR)), None)
    if exponent is None or (named and abs(exponent - _SRGB_EXPONENT) < 1e-3):
        return named
    if not _EXPONENTS[0] <= exponent <= _EXPONENTS[1]:
        return None
    return RgbSpace("matrix profile", named.to_xyz if named else to_xyz, (ParametricCurve(1 / exponent),) * 3)


def _to_xyz(stated: tuple[float, ...]) -> Matrix3 | None:
    """Linear RGB to XYZ under D65 from x, y of white, red, green and blue; None where they do not define a space."""
    white, *primaries = zip(stated[::2], stated[1::2], strict=True)
    if np.abs(np.subtract(white, D65_XY)).max() > _FARTHEST_WHITE or not all(
        0 <= x <= 1 and 0 < y <= 1 for x, y in primaries
    ):
        return None
    try:
        own = primaries_to_xyz(primaries, white_xyz(white))
    except np.linalg.LinAlgError:
        return None
    if abs(np.linalg.det(own)) < 1e-6:
        return None
    return matrix3(adaptation_matrix(white_xyz(white), D65) @ own)
