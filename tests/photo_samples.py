"""Pictures, EXIF and ICC profiles made for the photo tests, by other code than the one under test."""

from __future__ import annotations

import io
import struct
import warnings
import zlib
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import ExifTags, Image
from pillow_heif import register_heif_opener

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # colour-science warns where it finds no plotting library
    import colour as colour

register_heif_opener()

D50 = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2022, 7.2.16
NAMES = ("sRGB", "Display P3", "Adobe RGB (1998)")  # as both colour-science and tracker spell them

SRGB_PARA = (3, (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))  # IEC 61966-2-1 as an ICC type 3 curve


def scene(width: int = 64, height: int = 48) -> NDArray[np.uint8]:
    """A smooth picture whose four corners differ, so that every turn and flip shows."""
    y, x = np.mgrid[0:height, 0:width]
    red, green, blue = 40 + 170 * x / width, 60 + 120 * y / height, 200 - 140 * (x / width) * (y / height)
    return np.asarray(np.rint(np.dstack([red, green, blue])), np.uint8)


def save(pixels: NDArray[Any] | Image.Image, kind: str, **options: Any) -> bytes:
    image = pixels if isinstance(pixels, Image.Image) else Image.fromarray(pixels)
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def jpeg(pixels: NDArray[Any] | Image.Image, **options: Any) -> bytes:
    return save(pixels, "JPEG", **{"quality": 95, "subsampling": 0, **options})


def png_chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def png_with(chunks: dict[str, Any]) -> bytes:
    """The scene as a PNG with chunks before its pixels: bytes as they are, numbers as the specification stores them."""
    pieces = b""
    for name, value in chunks.items():
        body = value if isinstance(value, bytes) else b""
        if name in ("gAMA", "cHRM"):
            numbers = np.atleast_1d(value)
            body = struct.pack(f">{numbers.size}I", *(round(100_000 * float(number)) for number in numbers))
        elif not body:
            body = bytes(np.atleast_1d(value).tolist())
        pieces += png_chunk(name.encode(), body)
    png = save(scene(), "PNG")
    return png[:33] + pieces + png[33:]


def stored_as(upright: NDArray[Any], orientation: int) -> NDArray[Any]:
    """The array a camera stores for an upright scene (Exif 3.0, 4.6.4: place of row 0 and column 0)."""
    turned = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.swapaxes(0, 1),
        6: np.rot90(upright, 1),
        7: upright[::-1, ::-1].swapaxes(0, 1),
        8: np.rot90(upright, -1),
    }[orientation]
    return np.ascontiguousarray(turned)


def exif(
    *, orientation: int | None = None, base: dict[int, Any] | None = None, photo: dict[int, Any] | None = None
) -> bytes:
    """EXIF with tags of the main directory and of the photo directory."""
    tags = Image.Exif()
    if orientation is not None:
        tags[ExifTags.Base.Orientation] = orientation
    tags.update(base or {})
    tags.get_ifd(ExifTags.IFD.Exif).update(photo or {})
    return tags.tobytes()


def curv(*values: int) -> bytes:
    """curveType: none = identity, one = exponent in 1/256, more = samples in 1/65535 (ICC.1:2022, 10.6)."""
    return b"curv\0\0\0\0" + struct.pack(f">I{len(values)}H", len(values), *values)


def para(kind: int, parameters: tuple[float, ...]) -> bytes:
    """parametricCurveType (ICC.1:2022, 10.18)."""
    fixed = [round(value * 65536) for value in parameters]
    return b"para\0\0\0\0" + struct.pack(f">HH{len(fixed)}i", kind, 0, *fixed)


def xyz(values: ArrayLike) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(float(value) * 65536) for value in np.asarray(values)))


def profile(
    tags: dict[bytes, bytes], colours: bytes = b"RGB ", connection: bytes = b"XYZ ", device: bytes = b"mntr"
) -> bytes:
    """An ICC version 2 file of the given tags."""
    text = b"tokenprofile\0"
    desc = b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + b"\0" * 78
    tags = {b"desc": desc, b"cprt": b"text\0\0\0\0none\0", b"wtpt": xyz(D50), **tags}
    start, table, body = 132 + 12 * len(tags), b"", b""
    for name, block in tags.items():
        table += struct.pack(">4sII", name, start + len(body), len(block))
        body += block + b"\0" * (-len(block) % 4)
    head = struct.pack(">I4xI4s4s4s", start + len(body), 0x02400000, device, colours, connection)
    head += struct.pack(">6H", 2020, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28 + xyz(D50)[8:]
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


def rgb_to_pcs(name: str) -> NDArray[np.float64]:
    """Linear RGB of a named space to D50 XYZ, by colour-science."""
    space = colour.RGB_COLOURSPACES[name]
    white = colour.xy_to_XYZ(space.whitepoint)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(white, D50, transform="Bradford")
    own = colour.normalised_primary_matrix(space.primaries, space.whitepoint)
    return np.asarray(adapt @ own)


def matrix_profile(name: str, *curves: bytes) -> bytes:
    """A profile with the primaries of a named space; one curve for all channels, or three."""
    to_pcs = rgb_to_pcs(name)
    red, green, blue = curves * 3 if len(curves) == 1 else curves
    columns = {b"rXYZ": xyz(to_pcs[:, 0]), b"gXYZ": xyz(to_pcs[:, 1]), b"bXYZ": xyz(to_pcs[:, 2])}
    return profile({**columns, b"rTRC": red, b"gTRC": green, b"bTRC": blue})


def named_profile(name: str) -> bytes:
    """A profile of sRGB, Display P3 or Adobe RGB (1998) made from colour-science's primaries."""
    return matrix_profile(name, curv(563) if name.startswith("Adobe") else para(*SRGB_PARA))


def lightness_profile(colours: bytes) -> bytes:
    """A look-up profile (lut8Type, ICC.1:2022, 10.11) from RGB or CMYK to a grey of Lab.

    L* rises evenly with the mean of R, G and B; or falls evenly to 0 with the black ink alone.
    """
    channels = 3 if colours == b"RGB " else 4
    corners = np.stack(np.meshgrid(*[[0.0, 1.0]] * channels, indexing="ij"), axis=-1).reshape(-1, channels)
    lightness = corners.mean(axis=1) if channels == 3 else 1 - corners[:, 3]
    lab = np.stack([np.rint(255 * lightness), np.full(len(corners), 128), np.full(len(corners), 128)], axis=-1)
    ramp = bytes(range(256))
    identity = xyz([1, 0, 0])[8:] + xyz([0, 1, 0])[8:] + xyz([0, 0, 1])[8:]
    block = b"mft1\0\0\0\0" + bytes([channels, 3, 2, 0]) + identity
    block += ramp * channels + lab.astype(np.uint8).tobytes() + ramp * 3
    return profile({b"A2B0": block}, colours, b"Lab ", b"prtr" if channels == 4 else b"mntr")


def grey_profile(exponent_256: int) -> bytes:
    return profile({b"kTRC": curv(exponent_256)}, b"GRAY")


def lab(linear: ArrayLike) -> NDArray[np.float64]:
    """CIELAB (D65, 2 degree) of linear sRGB, by colour-science."""
    space = colour.RGB_COLOURSPACES["sRGB"]
    to_xyz = colour.normalised_primary_matrix(space.primaries, space.whitepoint)
    return np.asarray(colour.XYZ_to_Lab(np.asarray(linear, np.float64) @ to_xyz.T, space.whitepoint))
