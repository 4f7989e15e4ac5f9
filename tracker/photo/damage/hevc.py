"""Whether HEVC pictures decode without an error, by the decoder that comes with the HEIF library.

The HEIF library shows whatever its decoder made of damaged bytes. The decoder itself knows better: after a wrong bit,
arithmetic decoding never gets back into step, so the mark that ends a picture comes too early or not at all. That is
all we use the decoder for, not its pixels.

References
----------
[1] ITU-T H.265 (2021), 7.3.1.1: no three bytes 000000 to 000002 (hex) within a unit; 7.3.8.1: the mark of the end.
[2] ISO/IEC 14496-15:2022, 8.3.2: the configuration of the decoder.
"""

from __future__ import annotations

import ctypes
import math
import os
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tracker.photo.damage.boxes import Item

_FORBIDDEN = (b"\0\0\0", b"\0\0\1", b"\0\0\2")  # within a unit [1]
_NAME = "libde265*"
_SUPPRESS_FAULTY, _NO_DEBLOCKING, _NO_SAO = 6, 7, 8  # of the decoder's parameters; the filters are not needed
_FEWEST_STEPS = 8  # of the decoder, besides one for each unit, until a picture comes out
_COUNT_BYTES = 2

_Pointer = ctypes.c_void_p


def faults(content: bytes, items: list[Item]) -> int:
    """How many coded pieces of a photo are certainly damaged.

    Parameters
    ----------
    content : bytes of the file
    items : from `boxes.coded_items`; those that are not HEVC pictures are skipped
    """
    coded = [
        (item.configuration, b"".join(content[start:end] for start, end in item.extents), item.visible)
        for item in items
        if item.kind == b"hvc1" and item.configuration
    ]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return sum(pool.map(lambda piece: _is_damaged(*piece), coded))


@cache
def can_decode() -> bool:
    """Whether the decoder is available; without it, only damage that shows in the units themselves is found."""
    return _library() is not None


def _is_damaged(configuration: bytes, coded: bytes, visible: tuple[float, float]) -> bool:
    units = _units(coded, (configuration[21] & 3) + 1)
    if units is None or any(pattern in unit for unit in units for pattern in _FORBIDDEN):
        return True
    return can_decode() and not _decodes([*_parameters(configuration), *units], visible)


def _units(coded: bytes, size: int) -> list[bytes] | None:
    """The units, each after its length; None where the lengths do not add up."""
    units, at = [], 0
    while at < len(coded):
        begin = at + size
        at = begin + int.from_bytes(coded[at:begin], "big")
        units.append(coded[begin:at])
    return units if at == len(coded) and units else None


def _parameters(configuration: bytes) -> list[bytes]:
    """The units that come before the picture [2]."""
    units, at = [], 23
    for _ in range(configuration[22]):
        count = int.from_bytes(configuration[at + 1 : at + 3], "big")
        at += 3
        for _ in range(count):
            begin = at + _COUNT_BYTES
            at = begin + int.from_bytes(configuration[at:begin], "big")
            units.append(configuration[begin:at])
    return units


@cache
def _library() -> Any:
    """The decoder's library from the wheels of the HEIF library; None where it is not found."""
    import pillow_heif

    home = Path(pillow_heif.__file__).parent
    for folder in (home.with_name("pillow_heif.libs"), home / ".dylibs", home.parent):
        for file in sorted(folder.glob(_NAME)):
            try:
                library = ctypes.CDLL(str(file))
                _declare(library)
            except (OSError, AttributeError):
                continue
            return library
    return None


def _declare(library: Any) -> None:
    library.de265_new_decoder.restype = _Pointer
    library.de265_get_next_picture.restype = _Pointer
    library.de265_get_image_plane.restype = _Pointer
    number = ctypes.c_int
    for function, arguments in (
        (library.de265_free_decoder, [_Pointer]),
        (library.de265_start_worker_threads, [_Pointer, number]),
        (library.de265_set_parameter_bool, [_Pointer, number, number]),
        (library.de265_push_NAL, [_Pointer, ctypes.c_char_p, number, ctypes.c_int64, _Pointer]),
        (library.de265_flush_data, [_Pointer]),
        (library.de265_decode, [_Pointer, ctypes.POINTER(number)]),
        (library.de265_get_next_picture, [_Pointer]),
        (library.de265_get_image_plane, [_Pointer, number, ctypes.POINTER(number)]),
        (library.de265_get_image_width, [_Pointer, number]),
        (library.de265_get_image_height, [_Pointer, number]),
        (library.de265_get_chroma_format, [_Pointer]),
        (library.de265_get_bits_per_pixel, [_Pointer, number]),
    ):
        function.argtypes = arguments


def _decodes(units: list[bytes], visible: tuple[float, float]) -> bool:
    library = _library()
    decoder = library.de265_new_decoder()
    try:
        library.de265_start_worker_threads(decoder, 1)  # without any it waits for ever on some pictures
        for parameter in (_SUPPRESS_FAULTY, _NO_DEBLOCKING, _NO_SAO):
            library.de265_set_parameter_bool(decoder, parameter, 1)
        for unit in units:
            library.de265_push_NAL(decoder, unit, len(unit), 0, None)
        library.de265_flush_data(decoder)
        more = ctypes.c_int(1)
        for _ in range(len(units) + _FEWEST_STEPS):
            if library.de265_decode(decoder, ctypes.byref(more)):
                return False
            picture = library.de265_get_next_picture(decoder)
            if picture:
                return not _has_holes(library, picture, visible)
            if not more.value:
                break
        return False
    finally:
        library.de265_free_decoder(decoder)


def _has_holes(library: Any, picture: Any, visible: tuple[float, float]) -> bool:
    """Whether a part was never decoded: both planes of colour are zero there, which is no possible colour."""
    if library.de265_get_chroma_format(picture) == 0:  # grey
        return False
    width, height = library.de265_get_image_width(picture, 1), library.de265_get_image_height(picture, 1)
    rows, columns = math.ceil(visible[0] * height), math.ceil(visible[1] * width)
    sample = 2 if library.de265_get_bits_per_pixel(picture, 1) > 8 else 1
    planes = []
    for channel in (1, 2):
        stride = ctypes.c_int(0)
        start = library.de265_get_image_plane(picture, channel, ctypes.byref(stride))
        memory = (ctypes.c_uint8 * (stride.value * height)).from_address(start)
        rows_of_bytes = np.frombuffer(memory, np.uint8).reshape(height, stride.value)[:rows, : columns * sample]
        planes.append(np.ascontiguousarray(rows_of_bytes).view(np.uint8 if sample == 1 else np.uint16))
    return bool(((planes[0] == 0) & (planes[1] == 0)).any())
