"""Recognises a photo's format from its content alone, and opens it safely."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import chain

from PIL import Image, features

from tracker.errors import PhotoError, TooCostly, TooLarge, Unreadable, UnsupportedFormat
from tracker.photo.av1_size import coded_sizes
from tracker.photo.claims import check_claims
from tracker.photo.model import Limits

_SIGNATURES = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"II*\x00", "TIFF"),
    (b"MM\x00*", "TIFF"),
    (b"II+\x00", "TIFF"),
    (b"MM\x00+", "TIFF"),
)
_AVIF_BRANDS = frozenset({b"avif", b"avis"})
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1"})
_SIZE_BOX = b"\0\0\0\x14ispe\0\0\0\0"  # length, name, version and flags; width and height follow
_SHORTEST = 16
_LONGEST_EDGE = 65_500  # the longest edge that a JPEG encoder accepts, so that every photo we read can be stored


@contextmanager
def guarded() -> Iterator[None]:
    """Turn whatever an image library raises on damaged or hostile bytes into a PhotoError."""
    try:
        yield
    except PhotoError:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise TooLarge("The photo has too many pixels.", "Save it at a smaller size and try again.") from error
    except MemoryError as error:
        raise TooCostly("Opening the photo takes too much memory.", "Save it as a plain JPEG and try again.") from error
    except Exception as error:  # decoders raise ValueError, SyntaxError, struct.error, zlib.error and others
        raise Unreadable("The photo is damaged or cut off.", "Copy it from the camera again.") from error


def recognise(content: bytes) -> str:
    """Name of the photo format, in Pillow's spelling.

    Parameters
    ----------
    content : bytes of the file; its name and stated type do not matter

    Returns
    -------
    ``"JPEG"``, ``"PNG"``, ``"TIFF"``, ``"WEBP"``, ``"HEIF"`` or ``"AVIF"``

    Raises
    ------
    Unreadable : empty, or too short to be anything
    UnsupportedFormat : any other content
    """
    if not content:
        raise Unreadable("The photo file is empty.", "Copy it from the camera again.")
    if len(content) < _SHORTEST:
        raise Unreadable("The photo file is cut off.", "Copy it from the camera again.")
    for signature, name in _SIGNATURES:
        if content.startswith(signature):
            return name
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "WEBP"
    brands = _brands(content)
    if brands & _AVIF_BRANDS:
        if features.check("avif"):
            return "AVIF"
    elif brands & _HEIF_BRANDS:
        return "HEIF"
    raise UnsupportedFormat(
        "The file is not a photo in a format that can be measured.", "Use JPEG, HEIC, AVIF, PNG, TIFF or WebP."
    )


def open_image(content: bytes, name: str, limits: Limits) -> Image.Image:
    """Open a photo and check its size and the other claims of its headers, without decoding it.

    Raises
    ------
    TooLarge : the header states more pixels than `limits`, or an edge beyond 65,500 pixels; or see `check_claims`
    Unreadable : the header is damaged
    """
    check_claims(content, name)
    if name == "WEBP":
        # opening a WebP allocates its whole canvas, so its size is checked first
        check_size(_webp_size(content), limits)
    if name in ("HEIF", "AVIF"):
        for size in chain(_stated_sizes(content), coded_sizes(content) if name == "AVIF" else ()):
            check_size(size, limits)
    if name == "HEIF":
        from pillow_heif import register_heif_opener

        register_heif_opener()
    with guarded():
        image = Image.open(io.BytesIO(content), formats=[name])
        check_size(image.size, limits)
    return image


def _brands(content: bytes) -> set[bytes]:
    """Major and compatible brands of an ISO base media file (ISO/IEC 14496-12, 4.3); empty for other files."""
    if content[4:8] != b"ftyp":
        return set()
    (size,) = struct.unpack_from(">I", content)
    compatible = content[16 : min(size, 256)]
    return {content[8:12], *(compatible[i : i + 4] for i in range(0, len(compatible), 4))}


def _webp_size(content: bytes) -> tuple[int, int]:
    """Canvas size from the first chunk of a WebP file (RFC 9649, 2.5 to 2.7)."""
    header = content[12:30].ljust(18, b"\x00")
    chunk = header[:4]
    if chunk == b"VP8X":
        return int.from_bytes(header[12:15], "little") + 1, int.from_bytes(header[15:18], "little") + 1
    if chunk == b"VP8L":
        bits = int.from_bytes(header[9:13], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    if chunk == b"VP8 ":
        width, height = struct.unpack_from("<HH", header, 14)
        return width & 0x3FFF, height & 0x3FFF
    raise Unreadable("The photo is damaged or cut off.", "Copy it from the camera again.")


def _stated_sizes(content: bytes) -> Iterator[tuple[int, int]]:
    """Sizes, before any crop, of all pictures in a HEIF or AVIF file (ISO/IEC 23008-12, 6.5.3).

    The stated size of the whole file may be a small crop of a picture too large to decode.
    """
    at = content.find(_SIZE_BOX)
    while 0 <= at <= len(content) - len(_SIZE_BOX) - 8:
        at += len(_SIZE_BOX)
        yield struct.unpack_from(">II", content, at)
        at = content.find(_SIZE_BOX, at)


def check_size(size: tuple[int, int], limits: Limits) -> None:
    """Refuse a stated width and height that are too large.

    Raises
    ------
    TooLarge : more pixels than `limits`, or an edge beyond 65,500 pixels
    """
    width, height = size
    if width * height > limits.max_pixels:
        value, limit = width * height / 1e6, limits.max_pixels / 1e6
        raise TooLarge(
            f"The photo has {value:.1f} megapixels (limit {limit:g}).",
            "Save it at a smaller size and try again.",
            value=value,
            limit=limit,
            unit="megapixels",
        )
    if max(size) > _LONGEST_EDGE:
        raise TooLarge(
            f"The photo is {max(size)} pixels long (limit {_LONGEST_EDGE}).",
            "Crop it and try again.",
            value=max(size),
            limit=_LONGEST_EDGE,
            unit="pixels",
        )
