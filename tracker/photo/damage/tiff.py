"""Damage that shows in a TIFF's bytes: strips that are missing, do not decode to their length or fail their checksum.

References
----------
[1] TIFF 6.0 (1992), sections 3, 9, 13: strips, PackBits, LZW.
[2] TIFF Technical Note 2 (2002): Deflate, and tiles of JPEG.
[3] RFC 1950, 2.2: the checksum after deflated bytes.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator

from tracker.errors import Unreadable
from tracker.photo.damage.jpeg import ADVICE
from tracker.photo.damage.lzw import lzw_length
from tracker.photo.tiff_directory import Directory, cut_stretches, read_tree

_WIDTH, _HEIGHT, _BITS, _COMPRESSION, _MEANING, _FILL_ORDER = 256, 257, 258, 259, 262, 266
_SAMPLES, _ROWS, _PLANES = 277, 278, 284
_YCC = 6  # may hold fewer samples of colour than of brightness
_STRIPS, _TILES, _TILE_WIDTH, _TILE_HEIGHT = (273, 279), (324, 325), 322, 323
_LZW, _JPEG, _DEFLATE, _PACK_BITS, _NONE = 5, 7, (8, 32946), 32773, 1
_EMPTY = re.compile(rb"[^\0]\0{512,}")
_SECTOR = 512
_MARGIN = 16  # bytes of genuine zeros that a row may begin or end with


def check_tiff(content: bytes) -> bool:
    """Check the pieces of the first picture.

    Parameters
    ----------
    content : bytes of the file, not trusted; large files (BigTIFF) are not checked

    Returns
    -------
    Whether it is not compressed and contains zeros from the start of one disk sector to the end of one, or from the
    middle of a row to its end

    Raises
    ------
    Unreadable : a piece lies outside the file, or its bytes do not decode to its length or fail their checksum
    """
    if content[2:4] not in (b"*\0", b"\0*"):
        return False
    tree = read_tree(content)
    if not tree.directories:
        raise _damaged()
    first = tree.directories[0]
    if cut_stretches(content, first):
        raise Unreadable("The photo is cut off: a part of the picture lies beyond the end of the file.", ADVICE)
    compression = (first.get(_COMPRESSION) or (1,))[0]
    if compression == _NONE:
        return _has_empty_sectors(content) or _ends_within_a_row(content, first)
    plain = (first.get(_FILL_ORDER) or (1,))[0] == 1 and (first.get(_MEANING) or (2,))[0] != _YCC
    if plain and not all(_is_sound(piece, length, compression) for piece, length in _pieces(content, first)):
        raise _damaged()
    return False


def _has_empty_sectors(content: bytes) -> bool:
    return any((match.start() + 1) % _SECTOR == 0 and match.end() % _SECTOR == 0 for match in _EMPTY.finditer(content))


def _ends_within_a_row(content: bytes, directory: Directory) -> bool:
    """Whether the last strip is zeros from the middle of a row on: black objects and frames end with a row."""
    strips, counts = (directory.get(tag, ()) for tag in _STRIPS)
    if not strips or not counts:
        return False
    end = strips[-1] + counts[-1]
    row = sum(counts) // directory[_HEIGHT][0]
    filled = len(content[:end].rstrip(b"\0"))
    within = (filled - strips[0]) % max(row, 1)
    return end - filled >= _SECTOR and _MARGIN < within < row - _MARGIN


def _pieces(content: bytes, directory: Directory) -> Iterator[tuple[bytes, int]]:
    """Bytes of each strip or tile, and its decoded length."""
    tiled = bool(directory.get(_TILES[0]))
    offsets_tag, counts_tag = _TILES if tiled else _STRIPS
    offsets, counts = directory.get(offsets_tag, ()), directory.get(counts_tag, ())
    width, height = directory[_WIDTH][0], directory[_HEIGHT][0]
    bits, samples = directory.get(_BITS) or (1,), (directory.get(_SAMPLES) or (1,))[0]
    planar = (directory.get(_PLANES) or (1,))[0] == 2
    across = (1 if planar else samples) * bits[0]
    rows = directory[_TILE_HEIGHT][0] if tiled else min((directory.get(_ROWS) or (height,))[0], height)
    row = ((directory[_TILE_WIDTH][0] if tiled else width) * across + 7) // 8
    in_plane = -(-height // rows)
    for place, (offset, count) in enumerate(zip(offsets, counts, strict=False)):
        here = rows if tiled else min(rows, height - place % in_plane * rows)
        yield content[offset : offset + count], here * row


def _is_sound(piece: bytes, length: int, compression: int) -> bool:
    if compression in _DEFLATE:
        return _inflates(piece, length)
    if compression == _PACK_BITS:
        return _unpacked_length(piece, length) == length
    if compression == _LZW:
        return lzw_length(piece, length) == length
    if compression == _JPEG:
        return piece.rstrip(b"\0").endswith(b"\xff\xd9")
    return True


def _inflates(piece: bytes, length: int) -> bool:
    """Whether deflated bytes have their length and their checksum [3]."""
    unpacker = zlib.decompressobj()
    try:
        unpacked = unpacker.decompress(piece, length + 1)
    except zlib.error:
        return False
    return len(unpacked) == length and unpacker.eof


def _unpacked_length(piece: bytes, length: int) -> int:
    """Decoded length of PackBits [1]; -1 where the last run is cut off."""
    at = total = 0
    while at < len(piece) and total < length:
        head = piece[at]
        if head < 128:
            at += head + 2
            total += head + 1
        else:
            at += 1 if head == 128 else 2
            total += 0 if head == 128 else 257 - head
    return total if at in (len(piece), len(piece) - 1) else -1


def _damaged() -> Unreadable:
    return Unreadable("The photo is damaged: a part of the picture does not decode to its size.", ADVICE)
