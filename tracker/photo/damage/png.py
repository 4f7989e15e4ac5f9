"""Damage that shows in a PNG's bytes: every chunk has a checksum.

References
----------
[1] ISO/IEC 15948:2004, 5.3: a chunk is its length, its name, its content and a checksum; the last one is IEND.
"""

from __future__ import annotations

import zlib

from tracker.errors import Unreadable
from tracker.photo.damage.jpeg import ADVICE

_SIGNATURE = 8


def check_png(content: bytes) -> None:
    """Check all chunks up to the last one, and ignore anything that some programs put after it [1].

    Raises
    ------
    Unreadable : a checksum is wrong, or the last chunk is missing
    """
    view, at = memoryview(content), _SIGNATURE
    while at + 12 <= len(content):
        end = at + 8 + int.from_bytes(view[at : at + 4], "big")
        if end + 4 > len(content):
            break
        if zlib.crc32(view[at + 4 : end]) != int.from_bytes(view[end : end + 4], "big"):
            raise Unreadable("The photo is damaged: a checksum in it is wrong.", ADVICE)
        if content[at + 4 : at + 8] == b"IEND":
            return
        at = end + 4
    raise Unreadable("The photo is cut off: the end of the picture is missing.", ADVICE)
