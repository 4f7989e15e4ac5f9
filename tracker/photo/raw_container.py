"""Whether the bytes are a camera's raw file, and a complete one, from its content and without decoding it.

A raw decoder fills missing data with zeros and only warns, or says nothing. So everything that the file lists (strips,
tiles, previews, boxes) must lie inside the file before the decoder sees it.

References
----------
[1] DNG specification 1.7.1.0 (2023): DNGVersion, photometric interpretations 32803 and 34892.
[2] ISO/IEC 14496-12, 4.2: boxes.
[3] The open documentation of RAF and CR3 by their readers: the offsets in the RAF header, the brand ``crx``.
"""

from __future__ import annotations

import struct

from tracker.errors import Unreadable, UnsupportedFormat
from tracker.photo.tiff_directory import SUB_DIRECTORIES, Directory, TiffTree, cut_stretches, read_tree

_DNG_VERSION = 50706
_PHOTOMETRIC = 262
_MOSAIC, _LINEAR_RAW = 32803, 34892  # [1]
_SAMPLE_FORMAT, _FLOAT = 339, 3
_NOWHERE = 0xFFFFFFFF  # an offset that points nowhere, in RW2

_TIFF = (b"II*\0", b"MM\0*")
_ORF = (b"IIRO", b"IIRS", b"MMOR")
_RW2 = b"IIU\0"
_RAF = b"FUJIFILMCCD-RAW "
_CR3_BRAND = b"crx "
_RAF_STRETCHES = (84, 92, 100)  # positions of offset and length of preview, directory and sensor data [3]


def is_raw(content: bytes) -> bool:
    """Whether the content is a raw file; its name and stated type do not matter.

    Parameters
    ----------
    content : bytes of the file, not trusted

    Raises
    ------
    Unreadable : a TIFF without its lower directories: raw or not, only a preview is left
    """
    if content.startswith((*_ORF, _RW2, _RAF)) or _is_cr3(content):
        return True
    if not content.startswith(_TIFF):
        return False
    if content[8:10] == b"CR":
        return True
    tree = read_tree(content)
    if any(_lists_raw(directory) for directory in tree.directories):
        return True
    below = [at for directory in tree.directories for at in directory.get(SUB_DIRECTORIES, ())]
    if any(at >= len(content) for at in below):
        raise _cut_off()
    return False


def is_dng(content: bytes) -> bool:
    """Whether a raw file is a DNG, which contains the matrix of its camera [1]."""
    return content.startswith(_TIFF) and any(_DNG_VERSION in each for each in read_tree(content).directories)


def check_whole(content: bytes) -> None:
    """Refuse a raw file that lists more than it contains.

    Parameters
    ----------
    content : bytes for which `is_raw` is true

    Raises
    ------
    Unreadable : cut off, or a directory that points outside the file
    UnsupportedFormat : samples that are floats
    """
    if _is_cr3(content):
        whole = _boxes_are_whole(content)
    elif content.startswith(_RAF):
        whole = _raf_is_whole(content)
    else:
        whole = _tiff_is_whole(content, read_tree(content))
    if not whole:
        raise _cut_off()


def preview_at(content: bytes) -> slice | None:
    """Position of the JPEG with the photo's EXIF in a RAF file; None for other files."""
    if not content.startswith(_RAF) or len(content) < 92:
        return None
    offset, length = struct.unpack_from(">II", content, 84)
    return slice(offset, offset + length)


def _cut_off() -> Unreadable:
    return Unreadable("The raw photo is damaged or cut off.", "Copy it from the camera again.")


def _lists_raw(directory: Directory) -> bool:
    return _DNG_VERSION in directory or directory.get(_PHOTOMETRIC, (0,))[:1] in ((_MOSAIC,), (_LINEAR_RAW,))


def _tiff_is_whole(content: bytes, tree: TiffTree) -> bool:
    if tree.missing or not tree.directories:
        return False
    trust_counts = not content.startswith(_RW2)  # there the strip in the directory is not the part that is read
    for directory in tree.directories:
        if directory.get(_SAMPLE_FORMAT, ())[:1] == (_FLOAT,) and _lists_raw(directory):
            raise UnsupportedFormat("The raw photo has float pixels.", "Save it as raw with whole numbers.")
        if not trust_counts and _NOWHERE in directory.get(273, ()):
            continue
        if cut_stretches(content, directory, trust_counts=trust_counts):
            return False
    return True


def _raf_is_whole(content: bytes) -> bool:
    if len(content) < _RAF_STRETCHES[-1] + 8:
        return False
    stretches = (struct.unpack_from(">II", content, at) for at in _RAF_STRETCHES)
    return all(offset + length <= len(content) for offset, length in stretches)


def _is_cr3(content: bytes) -> bool:
    return content[4:12] == b"ftyp" + _CR3_BRAND


def _boxes_are_whole(content: bytes) -> bool:
    """Whether the boxes [2] fill the file to its end, with directory and data among them."""
    at, names = 0, set[bytes]()
    while at < len(content):
        if at + 16 > len(content):
            return False
        size, name, large = struct.unpack_from(">I4sQ", content, at)
        names.add(name)
        size = large if size == 1 else size
        if size == 0:  # runs to the end of the file, wherever that is: cannot be checked
            return False
        if size < 8:
            return False
        at += size
    return at == len(content) and {b"moov", b"mdat"} <= names
