"""Checks what a file claims before a decoder believes it: refuses small files that would take a lot to open.

References
----------
[1] ITU-T T.81 (1992), annex B: markers of a JPEG. In coded data the byte 0xFF is never followed by a marker's code.
[2] TIFF 6.0 (1992), sections 2, 8 and 15; the dialect with offsets of 8 bytes is that of libtiff.
[3] W3C, Portable Network Graphics (PNG) Specification, third edition, 2025, 5.3: chunks.
[4] ICC.1:2022: 7.3 tag table, 10.6 curveType.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

from tracker.errors import TooLarge, Unreadable

_MOST_SCANS = 100  # of a JPEG: encoders make about ten
_MOST_CHUNKS = 50_000  # of a PNG: one of 25 MB in the smallest chunks that encoders make has 6,000
_MOST_PARTS = 200_000  # of a TIFF: a strip for each row of the longest photo, in three planes
_LARGEST_SPARE_TILE = 2048 * 2048  # pixels: a tile may be larger than the photo, but not by a whole photo
_LARGEST_PROFILE = 4 * 1024**2  # bytes: those of printers, the largest of all, have up to three million
_MOST_SAMPLES = 65_536  # of a profile's curve: one for each 16-bit code
_MOST_SHARING = 4  # times that a profile may list its own bytes

_ADVICE = "Save it as JPEG in the camera’s or phone’s own photo program, and hand that over."
_WIDTH, _HEIGHT, _STRIPS, _TILE_WIDTH, _TILE_HEIGHT, _TILES = 256, 257, 273, 322, 323, 324
_WHOLE_NUMBERS = {3: "H", 4: "I", 16: "Q"}


def check_claims(content: bytes, name: str) -> None:
    """Refuse a file that would take more work than its picture can need.

    Parameters
    ----------
    content : bytes of the file, not trusted
    name : str, the format, from `container.recognise`

    Raises
    ------
    TooLarge : more scans, chunks, strips or tiles than any photo has, or a tile far larger than the photo
    """
    if name == "JPEG":
        _check("The photo is written in {} passes", _scans(content), _MOST_SCANS)
    elif name == "PNG":
        _check("The photo file has {} parts or more", sum(1 for _ in _chunks(content)), _MOST_CHUNKS)
    elif name == "TIFF":
        _check_tiff(dict(_numbers(content)))


def check_profile(icc: bytes) -> None:
    """Refuse a colour profile that would take more memory than any profile needs.

    Raises
    ------
    TooLarge : over 4 MB, or a curve of more than 65,536 samples
    Unreadable : its tags [4] list the same bytes over and over
    """
    _check("The photo’s colour profile has {} MB", len(icc) / 1024**2, _LARGEST_PROFILE / 1024**2, "MB")
    if icc[36:40] != b"acsp":  # not a profile, and no engine opens it: whoever needs its meaning reports that
        return
    blocks = {(offset, size) for _, offset, size in profile_tags(icc)}
    if sum(size for _, size in blocks) > _MOST_SHARING * len(icc):
        raise Unreadable("The photo’s colour profile is damaged: its parts overlap.", _ADVICE)
    for offset, _ in blocks:
        if icc[offset : offset + 4] == b"curv" and offset + 12 <= len(icc):
            (samples,) = struct.unpack_from(">I", icc, offset + 8)
            _check("A curve of the photo’s colour profile has {} steps", samples, _MOST_SAMPLES)


def profile_tags(icc: bytes) -> Iterator[tuple[bytes, int, int]]:
    """Name, offset and size of a profile's tags [4], as far as its table goes, unchecked."""
    if len(icc) >= 132:
        (count,) = struct.unpack_from(">I", icc, 128)
        for entry in range(132, min(132 + 12 * count, len(icc) - 11), 12):
            yield struct.unpack_from(">4sII", icc, entry)


def _check(sentence: str, value: float, limit: float, unit: str = "") -> None:
    """Refuse a value beyond its limit; the sentence has a place for the value."""
    if value > limit:
        said = sentence.format(f"{value:,.1f}" if isinstance(value, float) else f"{value:,}")
        raise TooLarge(f"{said} (limit {limit:,g}).", _ADVICE, value=value, limit=limit, unit=unit)


def _scans(content: bytes) -> int:
    """Scans of a JPEG: simply counted where there are few, else found by following the markers [1]."""
    scan = b"\xff\xda"
    most = content.count(scan)  # small pictures in the metadata have scans too, and these count here
    if most <= _MOST_SCANS:
        return most
    at, found = 2, 0
    while 0 <= at <= len(content) - 4 and content[at] == 0xFF:
        marker, length = struct.unpack_from(">HH", content, at)
        at += 2 + length
        if marker == 0xFFDA:
            found += 1
            at = _after_coded(content, at)
    return found


def _after_coded(content: bytes, at: int) -> int:
    """Position of the first marker after coded data; -1 without one."""
    while (at := content.find(b"\xff", at)) >= 0 and at + 1 < len(content):
        if content[at + 1] not in (0, 0xFF, *range(0xD0, 0xD8)):
            return at if content[at + 1] != 0xD9 else -1
        at += 1 if content[at + 1] == 0xFF else 2
    return -1


def _chunks(content: bytes) -> Iterator[int]:
    """Positions of the chunks of a PNG [3], up to one more than allowed."""
    at = 8
    for _ in range(_MOST_CHUNKS + 1):
        if at + 12 > len(content):
            return
        yield at
        at += 12 + int.from_bytes(content[at : at + 4], "big")


def _check_tiff(listed: dict[int, tuple[int, int]]) -> None:
    """Strips and tiles of the first directory, whose picture is the one we read."""
    for tag in (_STRIPS, _TILES):
        _check("The photo is cut into {} pieces", listed.get(tag, (0, 0))[0], _MOST_PARTS)
    width, height, across, down = (listed.get(tag, (1, 0))[1] for tag in (_WIDTH, _HEIGHT, _TILE_WIDTH, _TILE_HEIGHT))
    most = max(_LARGEST_SPARE_TILE, 4 * width * height)
    _check("One piece of the photo has {} megapixels", across * down / 1e6, most / 1e6, "megapixels")


def _numbers(content: bytes) -> Iterator[tuple[int, tuple[int, int]]]:
    """Count and first value of the whole-number entries in a TIFF's first directory [2], by tag."""
    order = "<" if content[:2] == b"II" else ">"
    large = content[2:4] in (b"+\0", b"\0+")
    number, counted, step = ("Q", "Q", 20) if large else ("I", "H", 12)
    try:
        (start,) = struct.unpack_from(order + number, content, 8 if large else 4)
        (count,) = struct.unpack_from(order + counted, content, start)
        begin = start + struct.calcsize(counted)
        for at in range(begin, min(begin + step * count, len(content) - step + 1), step):
            tag, kind, many = struct.unpack_from(order + "HH" + number, content, at)
            form = order + _WHOLE_NUMBERS.get(kind, "H")
            value = at + step - struct.calcsize(number)
            if many * struct.calcsize(form) > struct.calcsize(number):
                (value,) = struct.unpack_from(order + number, content, value)
            inside = value + struct.calcsize(form) <= len(content)
            yield tag, (many, struct.unpack_from(form, content, value)[0] if inside else 0)
    except struct.error:  # a directory outside the file: the decoder says so
        return
