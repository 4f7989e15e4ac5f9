"""Photos that may be copies of one: the same picture saved again, as messaging programs do."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.errors import StoreDamaged
from tracker.record.records import PhotoRecord
from tracker.store import Store
from tracker.workflow.photos import OPENING

_EDGE = 64  # pixels of the longer side: what re-saving does to fine detail is averaged away
_SHAPES_APART = 0.02
# Codes of 255, standard deviation. The sample photos saved again at quality 50 to 95 and at 0.37 to 1 of their size are
# 0.13 to 0.65 from the first; moved by 1.5 pixels they are 1.7 to 2.2 away. Repeats in which nothing moved at all, not
# even the card, are as close as copies (0.03 to 0.2): so this is something to ask about, not to refuse.
_ALIKE = 0.8

Small = NDArray[np.float32]


def small_picture_of(store: Store, photo: PhotoRecord) -> Small:
    """The grey of a kept photo, float32 (height, width), 0..255, 64 pixels along its longer side.

    Raises
    ------
    NotFound, StoreDamaged : the picture cannot be read back
    """
    with OPENING:
        grey = cv2.imdecode(np.frombuffer(store.pictures.get(photo.file), np.uint8), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        raise StoreDamaged("A kept photo cannot be read any more.", "Restore it from a backup.")
    height, width = grey.shape
    shrink = _EDGE / max(height, width)
    size = (max(1, round(width * shrink)), max(1, round(height * shrink)))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.float32)


def look_like_copies(
    photos: Sequence[PhotoRecord], small: Callable[[PhotoRecord], Small]
) -> list[tuple[PhotoRecord, PhotoRecord]]:
    """The pairs of photos between which nothing moved and the light did not change.

    Parameters
    ----------
    photos : of one visit
    small : gives the small picture of a photo
    """
    return [(one, other) for one, other in combinations(photos, 2) if _alike(one, other, small)]


def _alike(one: PhotoRecord, other: PhotoRecord, small: Callable[[PhotoRecord], Small]) -> bool:
    shapes = [width / height for width, height in (one.size, other.size)]
    if abs(shapes[0] / shapes[1] - 1) > _SHAPES_APART:
        return False
    first, second = small(one), small(other)
    if first.shape != second.shape:
        second = np.asarray(cv2.resize(second, first.shape[::-1], interpolation=cv2.INTER_AREA), np.float32)
    return float((first - second).std()) <= _ALIKE
