"""The size of the pictures in an AVIF by their own coded data, whatever the boxes around them state.

References
----------
[1] AV1 Bitstream and Decoding Process Specification (2019): 5.3 headers, 5.5 sequence header, 4.10 number formats.
[2] ISO/IEC 14496-12, 8.11.3: locations of items (iloc), 8.11.11: item data (idat).
[3] AV1 Codec ISO Media File Format Binding 1.2, 2.3: the configuration (av1C) and its contents.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from tracker.photo.damage.boxes import BrokenBoxes, Numbers, located

_SEQUENCE_HEADER, _TEMPORAL_DELIMITER = 1, 2
_ENOUGH = 256  # bytes from the start of an item that contain its sequence header


def coded_sizes(content: bytes) -> Iterator[tuple[int, int]]:
    """Width and height in the sequence headers of an AVIF's configurations and items.

    Parameters
    ----------
    content : bytes of the file, not trusted; damaged parts are skipped
    """
    at = content.find(b"av1C")
    while at >= 0:
        yield from _sizes(content[at + 8 : at + 8 + _ENOUGH])
        at = content.find(b"av1C", at + 4)
    for start in _item_starts(content):
        yield from _sizes(start)


def _sizes(start: bytes) -> Iterator[tuple[int, int]]:
    """The size in the first sequence header of coded data, which only delimiters may precede [1]."""
    at = 0
    while at < len(start):
        kind, has_size = start[at] >> 3 & 15, start[at] & 2
        at += 2 if start[at] & 4 else 1
        size, at = _leb128(start, at) if has_size else (len(start) - at, at)
        if kind == _SEQUENCE_HEADER:
            try:
                yield _sequence_size(_Bits(start[at : at + size]))
            except EOFError:
                return
        if kind != _TEMPORAL_DELIMITER:
            return
        at += size


def _leb128(start: bytes, at: int) -> tuple[int, int]:
    """A number coded in groups of seven bits, and where it ends."""
    value = 0
    for place in range(8):
        if at >= len(start):
            break
        value |= (start[at] & 0x7F) << 7 * place
        at += 1
        if not start[at - 1] & 0x80:
            break
    return value, at


class _Bits:
    """Bits of a header, the highest of each byte first."""

    def __init__(self, content: bytes) -> None:
        self._value, self._left = int.from_bytes(content, "big"), 8 * len(content)

    def take(self, count: int) -> int:
        if count > self._left:
            raise EOFError
        self._left -= count
        return self._value >> self._left & (1 << count) - 1

    def take_uvlc(self) -> None:
        zeros = 0
        while not self.take(1):
            zeros += 1
        self.take(min(zeros, 32))


def _sequence_size(bits: _Bits) -> tuple[int, int]:
    """Largest width and height that a sequence header allows its frames [1], 5.5.1."""
    bits.take(4)  # profile, still picture
    if bits.take(1):  # the short header of a still picture
        bits.take(5)
    else:
        delay_bits = 0
        if bits.take(1):  # timing
            bits.take(64)
            if bits.take(1):
                bits.take_uvlc()
            if bits.take(1):  # decoder model
                delay_bits = bits.take(5) + 1
                bits.take(42)
        display_delay = bits.take(1)
        for _ in range(bits.take(5) + 1):
            _skip_operating_point(bits, delay_bits, display_delay)
    width_bits, height_bits = bits.take(4) + 1, bits.take(4) + 1
    return bits.take(width_bits) + 1, bits.take(height_bits) + 1


def _skip_operating_point(bits: _Bits, delay_bits: int, display_delay: int) -> None:
    bits.take(12)
    if bits.take(5) > 7:
        bits.take(1)
    if delay_bits and bits.take(1):
        bits.take(2 * delay_bits + 1)
    if display_delay and bits.take(1):
        bits.take(4)


def _item_starts(content: bytes) -> Iterator[bytes]:
    """The first bytes of each item [2]."""
    box, beside = content.find(b"iloc"), content.find(b"idat") + 4
    if box < 0:
        return
    with suppress(BrokenBoxes):
        for _, method, extents in located(Numbers(content, box + 4, len(content))):
            start = b""
            for offset, length in extents:
                at = offset + (beside if method == 1 else 0)
                if len(start) < _ENOUGH:
                    start += content[at : at + min(length or _ENOUGH, _ENOUGH)]
            yield start
