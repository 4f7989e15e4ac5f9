"""Small files that claim, hide or repeat far more than they hold: made for the tests of what opening a photo costs."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

from tests.photo_samples import jpeg, png_chunk, profile, save, scene, xyz

PNG_HEADER_END = 33  # signature and IHDR: PNG (ISO/IEC 15948), 5.2 and 11.2.2
MEGABYTE = 1024**2

_AVIF = Path(__file__).with_name("golden") / "avif_of_256_megapixels.avif"


def overlapping_profile(size: int = 23 * MEGABYTE, count: int = 190) -> bytes:
    """A profile that lists nearly the whole of itself `count` times over (ICC.1:2022, 7.3)."""
    start = 132 + 12 * count
    names = [b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC", *(b"t%03d" % number for number in range(count - 6))]
    table = b"".join(name + struct.pack(">II", start + n, size - start - n) for n, name in enumerate(names))
    head = profile({})[:128]
    return struct.pack(">I", size) + head[4:] + struct.pack(">I", count) + table.ljust(size - 132, b"\0")


def long_curve(samples: int = 11_000_000) -> bytes:
    """A TIFF whose profile has a curve of so many samples (ICC.1:2022, 10.6)."""
    curve = b"curv\0\0\0\0" + struct.pack(">I", samples) + np.linspace(0, 65535, samples).astype(">u2").tobytes()
    columns = {b"rXYZ": xyz([0.436, 0.222, 0.014]), b"gXYZ": xyz([0.385, 0.717, 0.097])}
    short = b"curv\0\0\0\0" + struct.pack(">I", 0)
    return with_profile(
        profile({**columns, b"bXYZ": xyz([0.143, 0.061, 0.714]), b"rTRC": curve, b"gTRC": short, b"bTRC": short})
    )


def with_profile(icc: bytes) -> bytes:
    return save(scene(), "TIFF", icc_profile=icc)


def tiff(entries: dict[int, tuple[int, int, int]], body: bytes = b"", *, big: bool = False) -> bytes:
    """A TIFF of one directory: type, count and value (or offset) by tag; `body` follows at offset 4096 (TIFF 6.0)."""
    number, room = ("Q", 8) if big else ("I", 4)
    head = b"II+\0" + struct.pack("<HHQ", 8, 0, 16) if big else b"II*\0" + struct.pack("<I", 8)
    head += struct.pack("<Q" if big else "<H", len(entries))
    for tag, (kind, count, value) in sorted(entries.items()):
        head += struct.pack(f"<HH{number}", tag, kind, count) + value.to_bytes(room, "little")
    return (head + b"\0" * room).ljust(4096, b"\0") + body


def giant_tile(edge: int = 16_000, *, big: bool = False) -> bytes:
    """A TIFF of 64 x 48 pixels in one tile of `edge` x `edge` (TIFF 6.0, section 15)."""
    packed = zlib.compress(b"\x80" * (edge * edge * 3), 9) if edge < 2_000 else zlib.compress(bytes(3_000_000), 9)
    entries = {256: 64, 257: 48, 258: 8, 259: 8, 262: 2, 277: 3, 284: 1, 322: edge, 323: edge}
    listed = {tag: (4, 1, value) for tag, value in entries.items()}
    return tiff({**listed, 324: (4, 1, 4096), 325: (4, 1, len(packed))}, packed, big=big)


def many_scans(count: int = 10_000, size: tuple[int, int] = (2_000, 1_500)) -> bytes:
    """A progressive JPEG whose last scan stands there again and again (ITU-T T.81, annex G)."""
    content = jpeg(Image.new("RGB", size, (120, 90, 60)), progressive=True)
    last = content.rindex(b"\xff\xda")
    return content[:last] + content[last:-2] * count + content[-2:]


def small_claim_of_a_huge_avif() -> bytes:
    """An AVIF of 3 kB that states 100 x 100 pixels and holds 16,000 x 16,000 of one grey.

    Made once by Pillow 13 (libavif, speed 10), both numbers of its ``ispe`` box replaced (ISO/IEC 23008-12, 6.5.3).
    """
    return _AVIF.read_bytes()


def packed_profile(size: int = 100 * MEGABYTE) -> bytes:
    """A PNG whose profile unpacks to `size` bytes."""
    return _png_with(b"iCCP", b"bomb\0\0" + _packed_zeros(size))


def packed_texts(size: int = 20 * MEGABYTE, count: int = 60) -> bytes:
    """A PNG of `count` notes that unpack to `size` bytes each."""
    png, text = save(scene(), "PNG"), png_chunk(b"zTXt", b"Comment\0\0" + _packed_zeros(size))
    return png[:PNG_HEADER_END] + text * count + png[PNG_HEADER_END:]


def many_chunks(count: int = 1_500_000) -> bytes:
    """A PNG of `count` empty chunks that nobody knows."""
    png = save(scene(), "PNG")
    return png[:PNG_HEADER_END] + png_chunk(b"noNe", b"") * count + png[PNG_HEADER_END:]


def overlapping_exif(kind: str = "PNG", count: int = 60_000, size: int = 8 * MEGABYTE) -> bytes:
    """A photo whose EXIF lists the same megabytes again and again, each time under another tag."""
    head = b"II*\0" + struct.pack("<IH", 8, count)
    entries = b"".join(struct.pack("<HHII", 1 + number, 7, size, 0) for number in range(count))
    block = (head + entries).ljust(size, b"\0")
    return save(scene(), kind, exif=b"Exif\0\0" + block)


def many_items(count: int = 60_000) -> bytes:
    """A HEIC that lists `count` items (ISO/IEC 14496-12, 8.11.6)."""
    content = save(scene(), "HEIF")
    at = content.index(b"iinf")
    (size,) = struct.unpack_from(">I", content, at - 4)
    entry = struct.pack(">I4sB3xHH4s", 21, b"infe", 2, 7, 0, b"hvc1") + b"\0"
    box = content[at - 4 : at + 8] + struct.pack(">H", count) + entry * count
    meta = content.index(b"meta")
    (whole,) = struct.unpack_from(">I", content, meta - 4)
    grown = struct.pack(">I", whole + len(box) - size)
    return (
        content[: meta - 4]
        + grown
        + content[meta : at - 4]
        + struct.pack(">I", len(box))
        + box[4:]
        + content[at - 4 + size :]
    )


def long_animation(edge: int = 7_000, count: int = 300) -> bytes:
    """A WebP of `count` frames on a canvas of `edge` x `edge` (RFC 9649, 2.7.1)."""
    image = save(Image.new("RGB", (16, 16)), "WEBP", lossless=True)[12:]
    frame = struct.pack("<3s3s3s3s3sB", *(number.to_bytes(3, "little") for number in (0, 0, 15, 15, 100)), 0) + image
    canvas = struct.pack("<B3x", 2) + 2 * (edge - 1).to_bytes(3, "little")
    body = b"WEBPVP8X" + struct.pack("<I", 10) + canvas + b"ANIM" + struct.pack("<IIH", 6, 0, 0)
    body += (b"ANMF" + struct.pack("<I", len(frame)) + frame) * count
    return b"RIFF" + struct.pack("<I", len(body)) + body


def many_strips(count: int = 4_000_000) -> bytes:
    """A TIFF of one pixel a strip that lists `count` strips, all in one place."""
    entries = {256: 1, 257: count, 258: 8, 259: 1, 262: 1, 277: 1, 278: 1}
    listed = {tag: (4, 1, value) for tag, value in entries.items()}
    listed |= {273: (4, count, 4096), 279: (4, count, 4096)}
    return tiff(listed, struct.pack("<I", 1) * count)


def chained_directories(count: int = 200_000) -> bytes:
    """A TIFF of empty directories, each naming the next."""
    body = b"".join(struct.pack("<HI", 0, 8 + 6 * (number + 1)) for number in range(count))
    return b"II*\0" + struct.pack("<I", 8) + body


def many_colours(count: int = 60_000) -> bytes:
    """A TIFF of 64 x 48 pixels with `count` samples each."""
    entries = {256: 64, 257: 48, 258: 8, 259: 8, 262: 2, 277: count, 278: 48}
    listed = {tag: (4, 1, value) for tag, value in entries.items()}
    packed = zlib.compress(bytes(10_000_000), 9)
    return tiff({**listed, 273: (4, 1, 4096), 279: (4, 1, len(packed))}, packed)


HOSTILE: dict[str, Callable[[], bytes]] = {
    "profile of overlapping tags": lambda: with_profile(overlapping_profile()),
    "profile with a long curve": long_curve,
    "profile packed into a PNG": packed_profile,
    "notes packed into a PNG": packed_texts,
    "PNG of many chunks": many_chunks,
    "TIFF of one giant tile": giant_tile,
    "large TIFF of one giant tile": lambda: giant_tile(big=True),
    "TIFF of many strips": many_strips,
    "TIFF of many directories": chained_directories,
    "TIFF of many samples": many_colours,
    "JPEG of many scans": many_scans,
    "EXIF that overlaps": overlapping_exif,
    "EXIF that overlaps in a WebP": lambda: overlapping_exif("WEBP"),
    "AVIF that claims to be small": small_claim_of_a_huge_avif,
    "HEIC of many items": many_items,
    "WebP of many frames": long_animation,
}


def _png_with(name: bytes, body: bytes) -> bytes:
    png = save(scene(), "PNG")
    return png[:PNG_HEADER_END] + png_chunk(name, body) + png[PNG_HEADER_END:]


def _packed_zeros(size: int) -> bytes:
    packer, part = zlib.compressobj(9), bytes(MEGABYTE)
    return b"".join([*(packer.compress(part) for _ in range(size // MEGABYTE)), packer.flush()])
