"""The decoded length of an LZW strip of a TIFF.

References
----------
[1] TIFF 6.0 (1992), section 13: codes of 9 to 12 bits, 256 clears the table, 257 ends the strip; each code adds an
    entry, and codes become one bit longer one entry early.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_CLEAR, _END, _FIRST = 256, 257, 258
_LONGEST = 4096  # codes after a clearing, more than a table takes
# the code number at which it grows: 9 bits for the first 254 codes after a clearing, then 10, 11 and 12 [1]
_WIDTHS = np.repeat([9, 10, 11, 12], [254, 512, 1024, _LONGEST - 1790]).astype(np.int64)
_STARTS = np.concatenate([[0], np.cumsum(_WIDTHS)[:-1]])


def lzw_length(strip: bytes, length: int) -> int:
    """How many bytes a strip decodes to; -1 where its codes are not those of a complete strip.

    Parameters
    ----------
    strip : coded bytes, most significant bit first
    length : int, bytes that it should have; decoding stops beyond
    """
    stored = np.frombuffer(strip + bytes(8), np.uint8)
    last_bit, bit, total = 8 * len(strip), 0, 0
    while True:
        codes = _codes(stored, bit, last_bit)
        if len(codes) == 0 or (bit == 0 and codes[0] != _CLEAR):
            return -1
        if bit == 0:
            bit = 9
            continue
        marks = np.flatnonzero((codes == _CLEAR) | (codes == _END))
        if len(marks) == 0:
            return -1
        run = codes[: marks[0]]
        if (run >= _FIRST + np.arange(len(run))).any():
            return -1
        total += int(_lengths(run).sum())
        bit += int(_STARTS[marks[0]] + _WIDTHS[marks[0]])
        if codes[marks[0]] == _END:
            return total if last_bit - bit < 16 else -1
        if total > length:
            return -1


def _codes(stored: NDArray[np.uint8], bit: int, last_bit: int) -> NDArray[np.int64]:
    """The codes after a clearing, as many as there can be before the next."""
    starts = bit + _STARTS
    count = int(np.searchsorted(starts + _WIDTHS, last_bit, side="right"))
    starts, widths = starts[:count], _WIDTHS[:count]
    at = starts >> 3
    word = (stored[at].astype(np.int64) << 16) | (stored[at + 1].astype(np.int64) << 8) | stored[at + 2]
    return np.asarray((word >> (24 - (starts & 7) - widths)) & ((1 << widths) - 1), np.int64)


def _lengths(run: NDArray[np.int64]) -> NDArray[np.int64]:
    """The length of each code's string: one more than that of the code before the entry that it names."""
    named = np.where(run >= _FIRST, run - _FIRST, -1)
    lengths = np.ones(len(run), np.int64)
    while (named >= 0).any():
        there = named >= 0
        lengths[there] += lengths[named[there]]
        named = np.where(there, named[np.maximum(named, 0)], -1)
    return lengths
