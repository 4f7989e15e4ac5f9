"""The places of the coded pieces of a picture in an untrusted HEIF or AVIF file.

References
----------
[1] ISO/IEC 14496-12:2022, 4.2 and 8.11: boxes, items and their places.
[2] ISO/IEC 23008-12:2022, 6.6: pictures derived from other items; 9.3: properties of items.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field

_DERIVED = (b"grid", b"iovl", b"iden")
_CONFIGURATIONS = (b"hvcC", b"av1C", b"avcC")
_MOST_NUMBERS = 200_000  # listed in one file; a grid of a phone has some fifty pieces
_DEEPEST = 8  # pictures derived from pictures


class BrokenBoxes(ValueError):
    """The boxes do not fit into the file or into one another."""


@dataclass(slots=True)
class Item:
    """One item of a file.

    Attributes
    ----------
    kind : four letters, such as ``b"hvc1"``
    extents : (start, end) of its bytes in the file, in order; empty where they lie within another item
    size : width and height as stated, pixels; (0, 0) if not stated
    parts : identifiers of the items that it is derived from
    configuration : what the decoder needs before the coded bytes, such as the content of ``hvcC``; may be empty
    visible : share of its rows and of its columns that the picture shows; the rest of a tile at the edge is arbitrary
    """

    kind: bytes = b""
    extents: list[tuple[int, int]] = field(default_factory=list)
    size: tuple[int, int] = (0, 0)
    parts: tuple[int, ...] = ()
    configuration: bytes = b""
    visible: tuple[float, float] = (1.0, 1.0)


def coded_items(content: bytes) -> list[Item]:
    """The items that the picture of the file is decoded from: itself, or the tiles of its grid.

    Raises
    ------
    BrokenBoxes : a box or an item reaches beyond the end of the file, or something that the picture needs is missing
    struct.error, IndexError
        Cut off within a box.
    """
    inside = _meta(content)
    if b"iloc" not in inside or b"pitm" not in inside or b"iinf" not in inside:
        raise BrokenBoxes("a box is missing")
    items = _kinds(content, inside[b"iinf"])
    _place(content, items, inside)
    _relate(content, items, inside)
    _configure(content, items, inside)
    primary = _primary(content, inside[b"pitm"])
    found: list[Item] = []
    waiting, seen = [(primary, 0)], set[int]()
    while waiting:
        at, depth = waiting.pop()
        if at in seen or depth > _DEEPEST:
            continue
        seen.add(at)
        if at not in items:
            raise BrokenBoxes("an item is missing")
        item = items[at]
        found.append(item)
        if item.kind == b"grid":
            _show(content, item, items)
        if item.kind in _DERIVED:
            waiting += [(part, depth + 1) for part in item.parts]
    return found


def _show(content: bytes, grid: Item, items: dict[int, Item]) -> None:
    """How much of each tile of a grid is visible [2, 6.6.2.3]."""
    numbers = Numbers(content, *grid.extents[0])
    numbers.take(1)
    wide = 4 if numbers.take(1) & 1 else 2
    rows, columns = numbers.take(1) + 1, numbers.take(1) + 1
    width, height = numbers.take(wide), numbers.take(wide)
    if len(grid.parts) != rows * columns:
        raise BrokenBoxes("a grid has too few tiles")
    for place, part in enumerate(grid.parts):
        tile = items.get(part, Item())
        row, column = divmod(place, columns)
        if all(tile.size):
            tall, broad = height / tile.size[1] - row, width / tile.size[0] - column
            tile.visible = (min(max(tall, 0.0), 1.0), min(max(broad, 0.0), 1.0))


def _boxes(content: bytes, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Name, start and end of the content of each box between two places [1]."""
    at = start
    while at + 8 <= end:
        size, name = struct.unpack_from(">I4s", content, at)
        head = 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", content, at + 8)
            head = 16
        elif size == 0:
            size = end - at
        if not _is_name(name) or size < head:
            if start == 0 and at > 0:  # some phones put bytes of their own after the last box
                return
            raise BrokenBoxes("a box has no name")
        if at + size > end:
            raise BrokenBoxes("a box reaches beyond the end")
        yield name, at + head, at + size
        at += size


def _is_name(name: bytes) -> bool:
    return all(0x20 <= letter <= 0x7E for letter in name)


def _meta(content: bytes) -> dict[bytes, tuple[int, int]]:
    """Start and end of the boxes in the meta box, by name; checks every box of the file."""
    whole = list(_boxes(content, 0, len(content)))
    for name, start, end in whole:
        if name == b"meta":
            return {inner: (a, b) for inner, a, b in _boxes(content, start + 4, end)}
    raise BrokenBoxes("there is no meta box")


class Numbers:
    """Reads whole numbers one after another."""

    def __init__(self, content: bytes, at: int, end: int) -> None:
        self.content, self.at, self.end, self.left = content, at, end, _MOST_NUMBERS

    def take(self, size: int) -> int:
        """The next number of that many bytes."""
        self.left -= 1
        if self.at + size > self.end or self.left < 0:
            raise BrokenBoxes("a box is cut off")
        self.at += size
        return int.from_bytes(self.content[self.at - size : self.at], "big")


def _primary(content: bytes, box: tuple[int, int]) -> int:
    numbers = Numbers(content, *box)
    version = numbers.take(1)
    numbers.take(3)
    return numbers.take(4 if version else 2)


def _kinds(content: bytes, box: tuple[int, int]) -> dict[int, Item]:
    numbers = Numbers(content, *box)
    version = numbers.take(1)
    numbers.take(3)
    numbers.take(4 if version else 2)
    items: dict[int, Item] = {}
    for name, start, end in _boxes(content, numbers.at, box[1]):
        if name != b"infe":
            continue
        entry = Numbers(content, start, end)
        version = entry.take(1)
        entry.take(3)
        if version < 2:
            continue
        identifier = entry.take(4 if version == 3 else 2)
        entry.take(2)
        items[identifier] = Item(entry.take(4).to_bytes(4, "big"))
    return items


def _place(content: bytes, items: dict[int, Item], inside: dict[bytes, tuple[int, int]]) -> None:
    for identifier, method, extents in located(Numbers(content, *inside[b"iloc"])):
        if identifier in items and method < 2:
            first, last = inside.get(b"idat", (0, 0)) if method == 1 else (0, len(content))
            items[identifier].extents = [_extent(first, last, start, length) for start, length in extents]


def located(numbers: Numbers) -> Iterator[tuple[int, int, list[tuple[int, int]]]]:
    """Identifier, way of construction, and start and length of each piece of every item in a list [1, 8.11.3]."""
    version = numbers.take(1)
    numbers.take(3)
    sizes, more = numbers.take(1), numbers.take(1)
    offset_size, length_size, base_size = sizes >> 4, sizes & 15, more >> 4
    index_size = more & 15 if version else 0
    for _ in range(numbers.take(4 if version == 2 else 2)):
        identifier = numbers.take(4 if version == 2 else 2)
        method = numbers.take(2) & 15 if version else 0
        numbers.take(2)
        base = numbers.take(base_size)
        extents = []
        for _ in range(numbers.take(2)):
            numbers.take(index_size)
            start = base + numbers.take(offset_size)
            extents.append((start, numbers.take(length_size)))
        yield identifier, method, extents


def _extent(first: int, last: int, start: int, length: int) -> tuple[int, int]:
    begin = first + start
    end = begin + length if length else last
    if not begin <= end <= last:
        raise BrokenBoxes("an item reaches beyond the end")
    return begin, end


def _relate(content: bytes, items: dict[int, Item], inside: dict[bytes, tuple[int, int]]) -> None:
    """The parts of each derived picture [2]."""
    if b"iref" not in inside:
        return
    start, end = inside[b"iref"]
    size = 4 if content[start] else 2
    for name, begin, stop in _boxes(content, start + 4, end):
        numbers = Numbers(content, begin, stop)
        source = numbers.take(size)
        targets = tuple(numbers.take(size) for _ in range(numbers.take(2)))
        if name == b"dimg" and source in items:
            items[source].parts = targets


def _configure(content: bytes, items: dict[int, Item], inside: dict[bytes, tuple[int, int]]) -> None:
    """The decoder's configuration of each coded item [2, 9.3]."""
    if b"iprp" not in inside:
        return
    properties: list[tuple[bytes, bytes]] = []
    for name, start, end in _boxes(content, *inside[b"iprp"]):
        if name == b"ipco":
            properties += [
                (kind, content[a:b] if kind in (*_CONFIGURATIONS, b"ispe") else b"")
                for kind, a, b in _boxes(content, start, end)
            ]
        elif name == b"ipma":
            _associate(Numbers(content, start, end), items, properties)


def _associate(numbers: Numbers, items: dict[int, Item], properties: list[tuple[bytes, bytes]]) -> None:
    version, flags = numbers.take(1), numbers.take(3)
    wide = 2 if flags & 1 else 1
    for _ in range(numbers.take(4)):
        identifier = numbers.take(4 if version else 2)
        for _ in range(numbers.take(1)):
            index = numbers.take(wide) & (0x7FFF if wide == 2 else 0x7F)
            if identifier not in items or not 1 <= index <= len(properties):
                continue
            kind, told = properties[index - 1]
            if kind == b"ispe":
                items[identifier].size = struct.unpack_from(">II", told, 4)
            elif told:
                items[identifier].configuration = told
