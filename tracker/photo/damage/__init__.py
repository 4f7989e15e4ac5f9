"""Whether a photo was damaged on its way here, from its bytes before decoding and its pixels after.

Certain damage is refused. Anything that only looks like damage becomes a warning that withholds the number until a
person has looked.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tracker.errors import Unreadable
from tracker.photo.damage import hevc, jpeg
from tracker.photo.damage.boxes import BrokenBoxes, Item, coded_items
from tracker.photo.damage.jpeg import ADVICE
from tracker.photo.damage.png import check_png
from tracker.photo.damage.steps import find_step
from tracker.photo.damage.tiff import check_tiff
from tracker.photo.damage.webp import check_webp
from tracker.photo.metadata import orientation, read_tags

STEP = "damaged_step"
"""Warning of a photo with the kind of step that a wrong bit leaves; its place follows, such as ``0.43 top``."""

EMPTY = "damaged_empty"
"""Warning of a photo whose file holds sectors of zeros where pixels should be."""


def check_bytes(content: bytes, name: str) -> tuple[str, ...]:
    """Damage that shows in the bytes of a photo, by its format.

    Parameters
    ----------
    content : bytes of the file, not trusted
    name : str, the format, from `container.recognise`; formats without a test of their own pass

    Returns
    -------
    Warnings that withhold the number

    Raises
    ------
    Unreadable : damaged or cut off, for certain
    """
    if name == "PNG":
        check_png(content)
    elif name == "TIFF":
        return (EMPTY,) if check_tiff(content) else ()
    elif name == "WEBP":
        check_webp(content)
    elif name in ("HEIF", "AVIF"):
        _check_boxes(content)
    return ()


def decode_jpeg(image: Image.Image, content: bytes) -> tuple[NDArray[Any] | None, tuple[str, ...]]:
    """Pixels of an opened JPEG from the decoder that reports damage, and the damage that they show.

    Returns
    -------
    uint8 (height, width, 3), or None where Pillow has to decode it; warnings that withhold the number

    Raises
    ------
    Unreadable : damaged or cut off, for certain
    """
    layout = jpeg.layout_of(content)
    pixels = jpeg.decoded(layout, image.mode)
    if pixels is None or pixels.shape[2] == 4:
        return None, ()
    row = find_step(pixels, layout.block[1])
    warnings = () if row is None else (_step_at(row / len(pixels), orientation(read_tags(image))),)
    return (np.broadcast_to(pixels, (*pixels.shape[:2], 3)) if pixels.shape[2] == 1 else pixels), warnings


def _is_empty(content: bytes, item: Item) -> bool:
    """Whether a coded AV1 picture contains half a sector of zeros, which its arithmetic coding never writes."""
    return item.kind == b"av01" and any(content.find(bytes(256), start, end) >= 0 for start, end in item.extents)


def _step_at(share: float, turned: int) -> str:
    """The warning of a step at a share of the stored height, with its place in the upright photo."""
    along = "left" if turned in (5, 6, 7, 8) else "top"
    return f"{STEP} {1 - share if turned in (3, 4, 6, 7) else share:.2f} {along}"


def _check_boxes(content: bytes) -> None:
    try:
        items = coded_items(content)
    except BrokenBoxes as error:
        raise Unreadable("The photo is damaged or cut off.", ADVICE) from error
    damaged = hevc.faults(content, items) + sum(map(partial(_is_empty, content), items))
    if damaged:
        raise Unreadable(
            f"The photo is damaged: {damaged} of its pieces cannot be decoded.",
            ADVICE,
            value=damaged,
            limit=0,
            unit="pieces",
        )
