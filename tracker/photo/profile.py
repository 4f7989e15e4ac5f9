"""ICC colour profiles: reads matrix profiles, writes a minimal one of our own.

References
----------
[1] ICC.1:2022: 7.2 header, 7.3 tag table, 10.6 curveType, 10.18 parametricCurveType, annex E Bradford.
[2] ICC.1:2001-04: 6.5.17 textDescriptionType, as version 2 profiles need it.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracker.maths.colorimetry import D50_ICC, D65, Floats, adaptation_matrix
from tracker.maths.quantities import matrix3
from tracker.maths.rgb_space import NAMED_SPACES, Curve, ParametricCurve, RgbSpace, SampledCurve

_PCS_WHITE_FIXED = (0xF6D6, 0x10000, 0xD32D)  # D50 of the profile connection space in 1/65536 [1], 7.2.16
_PARAMETER_COUNTS = (1, 3, 4, 5, 7)
_MOST_TAGS = 200
_MATRIX_TOLERANCE = 5e-4  # of an XYZ entry: rounding to s15Fixed16 and different digits of D50 stay below 1e-4
_CURVE_TOLERANCE = 2e-4  # of linear light: below 0.2 L* even in black
_NAMED_SAMPLES = 1024
_OWN_SAMPLES = 1022  # 1,021 steps, a prime number, so that none of them coincides with a sample of another count
_MOST_SAMPLES = 4096  # of a curve; more are thinned out, which moves a smooth one by 1e-7 at most
_READ = frozenset({b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC", b"chad"})


def parse_profile(icc: bytes) -> RgbSpace | None:
    """The RGB space of a matrix profile.

    Parameters
    ----------
    icc : bytes of a version 2 or 4 profile for a camera, display or colour space

    Returns
    -------
    RgbSpace; one of the named constants where primaries and curves agree with it. None for profiles of
    another kind (look-up tables, grey, four inks) and for damaged ones.
    """
    try:
        return _parse(icc)
    except (struct.error, ValueError, ArithmeticError, KeyError):
        return None


def build_profile(space: RgbSpace) -> bytes:
    """A minimal version 2 matrix profile for a space, always the same bytes for the same space.

    Parameters
    ----------
    space : RgbSpace

    Returns
    -------
    bytes of the profile; it carries nothing but the space and a fixed name, date and licence

    Notes
    -----
    Sampled curves become 1,022 samples of our own, never those of the original. With curves like those of photos
    (exponent up to 2.6) light changes by at most 2e-5 of white, since both are rounded to 16 bits.
    """
    samples = _NAMED_SAMPLES if space in NAMED_SPACES else _OWN_SAMPLES
    columns = _fixed_columns(adaptation_matrix(D65, D50_ICC) @ np.array(space.to_xyz))
    blocks = [
        (b"desc", _description(b"tracker RGB")),
        (b"cprt", b"text\0\0\0\0CC0\0"),
        (b"wtpt", _xyz_block(_PCS_WHITE_FIXED)),
        *((name, _xyz_block(column)) for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)),
        *zip((b"rTRC", b"gTRC", b"bTRC"), (_curve_block(curve, samples) for curve in space.curves), strict=True),
    ]
    start = 128 + 4 + 12 * len(blocks)
    table, body, placed = struct.pack(">I", len(blocks)), b"", dict[bytes, int]()
    for name, block in blocks:
        if block not in placed:  # equal curves share one block
            placed[block] = start + len(body)
            body += block + b"\0" * (-len(block) % 4)
        table += struct.pack(">4sII", name, placed[block], len(block))
    return _header(start + len(body)) + table + body


def _parse(icc: bytes) -> RgbSpace | None:
    size, major, device, colours, connection = struct.unpack_from(">I4xB3x4s4s4s", icc)
    if icc[36:40] != b"acsp" or size > len(icc) or major not in (2, 4):
        return None
    if colours != b"RGB " or connection != b"XYZ " or device not in (b"scnr", b"mntr", b"spac"):
        return None
    tags = _tags(icc)
    if any(name.startswith((b"A2B", b"D2B")) for name in tags):
        return None
    to_pcs = np.stack([_read_xyz(tags[name]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")], axis=-1)
    to_xyz = _from_pcs(tags.get(b"chad")) @ to_pcs
    white = to_xyz.sum(axis=1)
    if not np.isfinite(to_xyz).all() or abs(np.linalg.det(to_xyz)) < 1e-6 or white[1] <= 0:
        return None
    red, green, blue = (_read_curve(tags[name]) for name in (b"rTRC", b"gTRC", b"bTRC"))
    space = RgbSpace("matrix profile", matrix3(to_xyz / white[1]), (red, green, blue))
    return next((named for named in NAMED_SPACES if _agree(named, space)), space)


def _tags(icc: bytes) -> dict[bytes, bytes]:
    """Every tag by its name; tags we do not read come without their content, whatever size they claim."""
    (count,) = struct.unpack_from(">I", icc, 128)
    if count > _MOST_TAGS:
        raise ValueError(f"{count} tags")
    entries = (struct.unpack_from(">4sII", icc, 132 + 12 * i) for i in range(count))
    tags = {}
    for name, offset, size in entries:
        if offset + size > len(icc):
            raise ValueError(f"tag {name!r} ends outside the profile")
        tags[name] = icc[offset : offset + size] if name in _READ else b""
    return tags


def _read_xyz(block: bytes) -> NDArray[np.float64]:
    if block[:4] != b"XYZ ":
        raise ValueError("not an XYZ tag")
    return np.array(struct.unpack_from(">3i", block, 8)) / 65536


def _read_curve(block: bytes) -> Curve:
    if block[:4] == b"para":
        return _read_parametric(block)
    if block[:4] != b"curv":
        raise ValueError("not a curve tag")
    (count,) = struct.unpack_from(">I", block, 8)
    if count == 0:
        return ParametricCurve(1.0)
    if count == 1:
        return _finite(ParametricCurve(struct.unpack_from(">H", block, 12)[0] / 256))
    samples = np.frombuffer(block, ">u2", count, 12) / 65535
    if count > _MOST_SAMPLES:
        samples = np.interp(np.linspace(0.0, 1.0, _MOST_SAMPLES), np.linspace(0.0, 1.0, count), samples)
    return SampledCurve(tuple(samples.tolist()))


def _read_parametric(block: bytes) -> Curve:
    (kind,) = struct.unpack_from(">H", block, 8)
    if kind >= len(_PARAMETER_COUNTS):
        raise ValueError(f"parametric curve of type {kind}")
    g, *rest = (value / 65536 for value in struct.unpack_from(f">{_PARAMETER_COUNTS[kind]}i", block, 12))
    if kind == 0:
        return _finite(ParametricCurve(g))
    if kind in (1, 2):
        a, b = rest[:2]
        floor = rest[2] if kind == 2 else 0.0
        return _finite(ParametricCurve(g, a, b, 0.0, -b / a, floor, floor))
    return _finite(ParametricCurve(g, *rest))


def _finite(curve: ParametricCurve) -> ParametricCurve:
    values = curve.decode(np.linspace(0.0, 1.0, 256)) if curve.gamma > 0 else np.array([math.nan])
    if not np.isfinite(values).all():
        raise ValueError(f"{curve} has no values")
    return curve


def _from_pcs(chad: bytes | None) -> Floats:
    """XYZ of the connection space (D50) to XYZ under D65.

    The profile's own adaptation is undone where it started from D65. From any other white it stays, and Bradford takes
    the colours from D50 to D65.
    """
    if chad is not None and chad[:4] == b"sf32":
        own = np.array(struct.unpack_from(">9i", chad, 8)).reshape(3, 3) / 65536
        if abs(np.linalg.det(own)) > 1e-6:
            inverse = np.linalg.inv(own)
            if np.allclose(inverse @ D50_ICC, D65, atol=1e-3):
                return np.asarray(inverse)
    return adaptation_matrix(D50_ICC, D65)


def _agree(named: RgbSpace, space: RgbSpace) -> bool:
    codes = np.repeat(np.linspace(0.0, 1.0, 256)[:, np.newaxis], 3, axis=1)
    return np.allclose(named.to_xyz, space.to_xyz, rtol=0, atol=_MATRIX_TOLERANCE) and np.allclose(
        named.decode(codes), space.decode(codes), rtol=0, atol=_CURVE_TOLERANCE
    )


def _header(size: int) -> bytes:
    white = struct.pack(">3i", *_PCS_WHITE_FIXED)
    date = struct.pack(">6H", 2026, 1, 1, 0, 0, 0)
    head = struct.pack(">I4xI4s4s4s12s4s", size, 0x02100000, b"mntr", b"RGB ", b"XYZ ", date, b"acsp")
    return (head.ljust(64, b"\0") + struct.pack(">I", 1) + white).ljust(128, b"\0")  # intent 1: relative colorimetric


def _description(text: bytes) -> bytes:
    return b"desc\0\0\0\0" + struct.pack(">I", len(text) + 1) + text + b"\0" * (1 + 8 + 3 + 67)


def _fixed_columns(to_pcs: Floats) -> NDArray[np.int64]:
    """Three primaries in 1/65536 that add up to the white exactly, to keep neutral neutral."""
    fixed = np.rint(to_pcs * 65536).astype(np.int64)
    for row, white in zip(fixed, _PCS_WHITE_FIXED, strict=True):
        row[np.argmax(row)] += white - row.sum()
    return fixed.T


def _xyz_block(fixed: Sequence[int] | NDArray[np.int64]) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *fixed)


def _curve_block(curve: Curve, count: int) -> bytes:
    if isinstance(curve, ParametricCurve) and curve == ParametricCurve(curve.gamma):
        exponent = curve.gamma * 256
        if exponent == round(exponent) and 0 < exponent < 65536:
            return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(exponent))
    light = np.clip(curve.decode(np.linspace(0.0, 1.0, count)), 0.0, 1.0)
    samples = np.rint(light * 65535).astype(">u2")
    return b"curv\0\0\0\0" + struct.pack(">I", count) + samples.tobytes()
