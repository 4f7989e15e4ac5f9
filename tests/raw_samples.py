"""Raw files made for the tests with struct alone: an uncompressed mosaic DNG and a linear one, of known scenes."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

SRGB_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
"""IEC 61966-2-1 primaries with the D65 white."""

PLAIN_CAMERA = np.linalg.inv(SRGB_TO_XYZ)
"""XYZ to a camera whose colours are linear sRGB."""

REAL_CAMERA = np.array([[0.6722, -0.0635, -0.0963], [-0.4287, 1.2460, 0.2028], [-0.0908, 0.2162, 0.5668]])
"""XYZ to a camera as a single-lens reflex has it (D65, the published matrix of one, rounded to 4 digits)."""

BLACK, WHITE = 512, 16383
RGGB = np.array([[0, 1], [1, 2]])
SIX = np.array(
    [
        [1, 2, 1, 1, 0, 1],
        [0, 1, 0, 2, 1, 2],
        [1, 2, 1, 1, 0, 1],
        [1, 0, 1, 1, 2, 1],
        [2, 1, 2, 0, 1, 0],
        [1, 0, 1, 1, 2, 1],
    ]
)
"""A mosaic of 6 x 6 with colours in every row and column."""

_LETTERS = {"B": 1, "s": 1, "H": 2, "I": 4, "r": 8, "R": 8}
_KINDS = {"B": 1, "s": 2, "H": 3, "I": 4, "r": 10, "R": 5}


def camera_codes(linear: ArrayLike, xyz_to_camera: NDArray[Any] = REAL_CAMERA) -> NDArray[np.uint16]:
    """Sensor values of linear sRGB light; light 1 brings the strongest channel of the camera to its white level."""
    to_camera = xyz_to_camera @ SRGB_TO_XYZ
    light = np.asarray(linear) @ to_camera.T / to_camera.sum(axis=1).max()
    return np.asarray(np.rint(np.clip(BLACK + light * (WHITE - BLACK), 0, WHITE)), np.uint16)


def neutral(xyz_to_camera: NDArray[Any] = REAL_CAMERA) -> NDArray[np.float64]:
    """Camera values of D65 white, the strongest 1."""
    white = (xyz_to_camera @ SRGB_TO_XYZ).sum(axis=1)
    return np.asarray(white / white.max())


def dng(
    codes: NDArray[np.uint16],
    *,
    xyz_to_camera: NDArray[Any] = REAL_CAMERA,
    as_shot: Sequence[float] | NDArray[Any] | None = (),
    orientation: int = 1,
    mosaic: NDArray[Any] | None = RGGB,
    rows_per_strip: int = 40,
    extra: dict[int, tuple[str, Any]] | None = None,
    mark: bytes = b"",
) -> bytes:
    """A DNG of camera codes (h, w, 3): a mosaic of them, or all three with `mosaic=None`. The strips stand last."""
    height, width = codes.shape[:2]
    samples = codes
    if mosaic is not None:
        repeated = np.tile(mosaic, (height // len(mosaic) + 1, width // len(mosaic) + 1))[:height, :width]
        samples = np.take_along_axis(codes, repeated[..., np.newaxis], axis=-1)
    strips = [samples[i : i + rows_per_strip].astype("<u2").tobytes() for i in range(0, height, rows_per_strip)]
    count = samples.shape[2]
    entries: dict[int, tuple[str, Any]] = {
        254: ("I", [0]), 256: ("I", [width]), 257: ("I", [height]), 258: ("H", [16] * count), 259: ("H", [1]),
        262: ("H", [34892 if mosaic is None else 32803]), 271: ("s", b"Test\0"), 272: ("s", b"Camera\0"),
        273: ("I", [0] * len(strips)), 274: ("H", [orientation]), 277: ("H", [count]), 278: ("I", [rows_per_strip]),
        279: ("I", [len(strip) for strip in strips]), 284: ("H", [1]), 306: ("s", b"2026:03:04 10:20:30\0"),
        50706: ("B", [1, 4, 0, 0]), 50707: ("B", [1, 1, 0, 0]), 50708: ("s", b"Test Camera\0"),
        50714: ("H", [BLACK] * count), 50717: ("H", [WHITE] * count), 50778: ("H", [21]),
        50721: ("r", [round(value * 10_000) for value in xyz_to_camera.ravel()]),
    }  # fmt: skip
    if mosaic is not None:
        entries[33421], entries[33422] = ("H", [len(mosaic)] * 2), ("B", mosaic.ravel().tolist())
    if as_shot is not None:
        shot = neutral(xyz_to_camera) if len(as_shot) == 0 else as_shot
        entries[50728] = ("R", [round(float(value) * 10_000) for value in shot])
    return _write(entries | (extra or {}), strips, mark)


def _write(entries: dict[int, tuple[str, Any]], strips: list[bytes], mark: bytes) -> bytes:
    blocks = {tag: _block(*entries[tag]) for tag in sorted(entries)}
    at = 8 + len(mark) + 2 + 12 * len(entries) + 4
    room = at + sum(len(block) + len(block) % 2 for _, block in blocks.values() if len(block) > 4)
    starts = [room + sum(map(len, strips[:i])) for i in range(len(strips))]
    blocks[273] = _block("I", starts)
    table, body = struct.pack("<H", len(blocks)), b""
    for tag, (length, block) in blocks.items():
        table += struct.pack("<HHI", tag, _KINDS[entries[tag][0]], length)
        table += block.ljust(4, b"\0") if len(block) <= 4 else struct.pack("<I", at + len(body))
        body += block + b"\0" * (len(block) % 2) if len(block) > 4 else b""
    return b"II*\0" + struct.pack("<I", 8 + len(mark)) + mark + table + bytes(4) + body + b"".join(strips)


def _block(kind: str, values: Any) -> tuple[int, bytes]:
    if kind == "s":
        return len(values), values
    if kind in "rR":
        sign = "i" if kind == "r" else "I"
        return len(values), b"".join(struct.pack(f"<{sign}{sign}", value, 10_000) for value in values)
    return len(values), struct.pack(f"<{len(values)}{kind}", *values)
