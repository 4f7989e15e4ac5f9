"""Damage that shows in a WebP's bytes.

References
----------
[1] RFC 9649, 2.3 to 2.7: the file states its length, and chunks fill it.
"""

from __future__ import annotations

from tracker.errors import Unreadable
from tracker.photo.damage.jpeg import ADVICE

_LOSSY = (b"VP8 ",)
_SECTOR = bytes(256)  # half a sector of zeros: arithmetic coding writes that many only for a picture of a single colour


def check_webp(content: bytes) -> None:
    """Check that all chunks are there, and that no sector of the coded picture is empty.

    Raises
    ------
    Unreadable : cut off, or an empty sector
    """
    end = 8 + int.from_bytes(content[4:8], "little")
    at = 12
    while at + 8 <= end:
        start, size = at + 8, int.from_bytes(content[at + 4 : at + 8], "little")
        if start + size > min(end, len(content)):
            break
        if content[at : at + 4] in _LOSSY and content.find(_SECTOR, start, start + size) >= 0:
            raise Unreadable("The photo is damaged: a part of it is empty.", ADVICE)
        at = start + size + size % 2
    if at < end or end > len(content) + 1:
        raise Unreadable("The photo is cut off: the end of the picture is missing.", ADVICE)
