"""Damage that shows in a JPEG's bytes: segments that do not follow one another, and the warnings of its decoder.

References
----------
[1] ITU-T T.81 (1992), annex B: markers and segments.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import simplejpeg
from numpy.typing import NDArray

from tracker.errors import Unreadable

ADVICE = "Copy it from the camera again."

_START_OF_SCAN, _END = 0xDA, 0xD9
_FRAMES = frozenset({0xC0, 0xC1, 0xC2, 0xC9, 0xCA})  # Huffman and arithmetic, one after the other or progressive
_ALONE = frozenset({0x01, *range(0xD0, 0xD9)})  # markers without a length
_WARNED = ("corrupt jpeg", "premature end", "extraneous bytes")
_COLOURS = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK"}


@dataclass(frozen=True, slots=True)
class Layout:
    """How the blocks of a JPEG follow one another.

    Attributes
    ----------
    sound : bytes without the gaps that some cameras leave between the segments of the header
    block : width and height of the smallest unit decoded in one step, pixels
    """

    sound: bytes
    block: tuple[int, int] = (8, 8)


def layout_of(content: bytes) -> Layout:
    """Walk all segments [1].

    Raises
    ------
    Unreadable : cut off: a segment reaches beyond the end, or the end marker is missing
    """
    pieces, at, block, gaps = [content[:2]], 2, (8, 8), False
    markers = _markers(content)
    while True:
        start = content.find(b"\xff", at)
        marker_at = start
        while 0 <= marker_at < len(content) and content[marker_at] == 0xFF:
            marker_at += 1
        if start < 0 or marker_at >= len(content):
            raise _cut_off()
        gaps |= start != at
        marker = content[marker_at]
        if marker == _END:
            break
        at = marker_at + 1
        if marker in _ALONE or marker == 0:
            continue
        end = at + int.from_bytes(content[at : at + 2], "big")
        if end > len(content) or end < at + 2:
            raise _cut_off()
        body = content[at + 2 : end]
        if marker in _FRAMES:
            block = _block(body)
        elif marker == _START_OF_SCAN:
            following = int(np.searchsorted(markers, end))
            if following == len(markers):
                raise _cut_off()
            end = int(markers[following])
        pieces.append(content[start:end])
        at = end
    return Layout(b"".join([*pieces, b"\xff\xd9"]) if gaps else content, block)


def decoded(layout: Layout, mode: str) -> NDArray[np.uint8] | None:
    """The pixels of the file, from a decoder that reports its warnings.

    Parameters
    ----------
    layout : of the file
    mode : Pillow's name of the kind of pixels

    Returns
    -------
    uint8 (height, width, 3 or 1 or 4), or None for kinds that this decoder does not take

    Raises
    ------
    Unreadable : the coded bytes are damaged
    """
    colours = _COLOURS.get(mode)
    if colours is None:
        return None
    try:
        pixels: NDArray[Any] = simplejpeg.decode_jpeg(layout.sound, colours, strict=True)
    except ValueError as error:
        said = str(error).lower()
        if any(warning in said for warning in _WARNED):
            raise Unreadable("The photo is damaged: some of its coded bytes are wrong or missing.", ADVICE) from error
        return None
    return pixels


def _markers(content: bytes) -> NDArray[np.intp]:
    """Where markers that end a scan can be: not at a stuffed or fill byte, and not at a restart."""
    stored = np.frombuffer(content, np.uint8)
    at = np.flatnonzero(stored[:-1] == 0xFF)
    following = stored[at + 1]
    ends = (following != 0) & (following != 0xFF) & ((following < 0xD0) | (following > 0xD7))
    return np.asarray(at[ends])


def _block(frame: bytes) -> tuple[int, int]:
    """Width and height of the smallest coded unit, pixels, by the sampling of the components [1, A.2.3]."""
    sampling = [frame[at] for at in range(7, 6 + 3 * frame[5], 3)]
    if len(sampling) == 1:
        return 8, 8
    return 8 * max(both >> 4 for both in sampling), 8 * max(both & 15 for both in sampling)


def _cut_off() -> Unreadable:
    return Unreadable("The photo is cut off: the end of the picture is missing.", ADVICE)
