"""The directories of an untrusted TIFF file: what they list, and whether all of it is there.

References
----------
[1] TIFF 6.0 (1992), section 2: header, directories, types; section 8 and 15: strips and tiles.
[2] TIFF Technical Note 1 (1995): trees of directories.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field

SUB_DIRECTORIES = 330
EXIF_DIRECTORY = 34665

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}  # bytes by type [1]
_WHOLE_NUMBERS = {1: "B", 3: "H", 4: "I", 13: "I"}
_POINTERS = (SUB_DIRECTORIES, EXIF_DIRECTORY)
_STRETCHES = ((273, 279), (324, 325), (513, 514))  # offsets and byte counts of strips, tiles and a JPEG [1]
_MOST_DIRECTORIES = 64
_MOST_NUMBERS = 200_000  # listed in one file: several times as many as the strips of a photo with one per row

Directory = Mapping[int, tuple[int, ...]]
"""Whole numbers of a directory by tag; entries of other types are empty."""


@dataclass(slots=True)
class TiffTree:
    """Every directory of a file.

    Attributes
    ----------
    directories : the first and those after it, with the ones below each
    missing : what the file lists but does not contain, in words; empty if complete
    """

    directories: list[Directory] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)


def read_tree(content: bytes) -> TiffTree:
    """Directories of a file that starts like a TIFF; the two bytes that name the dialect are ignored.

    Parameters
    ----------
    content : bytes of the file, not trusted
    """
    order = "<" if content[:2] == b"II" else ">"
    tree, seen, budget = TiffTree(), set[int](), _MOST_NUMBERS
    waiting = [(struct.unpack_from(order + "I", content.ljust(8, b"\0"), 4)[0], True)]
    while waiting:
        at, chained = waiting.pop(0)
        if at == 0 or at in seen:
            continue
        if len(seen) == _MOST_DIRECTORIES:
            tree.missing.append("too many directories")
            break
        seen.add(at)
        reader = _Reader(content, order, budget)
        directory, following = reader.directory(at)
        budget -= reader.numbers_read
        tree.missing += reader.missing
        tree.directories.append(directory)
        waiting += [(pointer, False) for tag in _POINTERS for pointer in directory.get(tag, ())]
        if chained:
            waiting.append((following, True))
    return tree


def cut_stretches(content: bytes, directory: Directory, *, trust_counts: bool = True) -> bool:
    """Whether picture data that a directory lists lies outside the file.

    Parameters
    ----------
    content : bytes of the file
    directory : of it
    trust_counts : bool, whether the byte counts are right; if not, one byte of each must be there
    """
    for offsets_tag, counts_tag in _STRETCHES:
        offsets, counts = directory.get(offsets_tag, ()), directory.get(counts_tag, ())
        if trust_counts and offsets and len(offsets) != len(counts):
            return True
        for offset, count in zip(offsets, counts, strict=False):
            if count and offset + (count if trust_counts else 1) > len(content):
                return True
    return False


class _Reader:
    """One directory of one file."""

    def __init__(self, content: bytes, order: str, budget: int) -> None:
        self.content, self.order, self.budget = content, order, budget
        self.numbers_read = 0
        self.missing: list[str] = []

    def directory(self, at: int) -> tuple[Directory, int]:
        """The directory at an offset, and the offset of the next one (0 at the last)."""
        numbers: dict[int, tuple[int, ...]] = {}
        if at + 2 > len(self.content):
            self.missing.append(f"directory at {at}")
            return numbers, 0
        (count,) = struct.unpack_from(self.order + "H", self.content, at)
        end = at + 2 + 12 * count
        if end > len(self.content):
            self.missing.append(f"directory at {at}")
            return numbers, 0
        for entry in range(at + 2, end, 12):
            tag, kind, length = struct.unpack_from(self.order + "HHI", self.content, entry)
            numbers[tag] = self._values(entry, tag, kind, length)
        # some programs leave out the closing offset of a last directory at the end of the file
        following = struct.unpack_from(self.order + "I", self.content, end)[0] if end + 4 <= len(self.content) else 0
        return numbers, following

    def _values(self, entry: int, tag: int, kind: int, length: int) -> tuple[int, ...]:
        size = _SIZES.get(kind, 0) * length
        at = entry + 8
        if size > 4:
            (at,) = struct.unpack_from(self.order + "I", self.content, at)
        if at + size > len(self.content):
            self.missing.append(f"value of tag {tag}")
            return ()
        if kind not in _WHOLE_NUMBERS or self.numbers_read + length > self.budget:
            return ()
        if kind == 1 and length > 16:  # a table of bytes holds no offsets
            return ()
        self.numbers_read += length
        return struct.unpack_from(f"{self.order}{length}{_WHOLE_NUMBERS[kind]}", self.content, at)
