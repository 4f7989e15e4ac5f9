"""Several looks at one photo, and the one to believe.

No way of cutting hair out is right in every photo. Along a path, the light half of painted hair may pass for something
behind the dark half; from a broad guess, a cut may run on into a wall with texture. So each is tried, and the one is
taken whose rim is clear and which the others bear out.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.hair import grab, guess, shape

_SURELY_HAIR, _LIKELY_HAIR = 0.10, 0.10  # of its width: how far inside a guess it is sure, outside it likely
_SURELY_NOT = 0.45  # of its width: what is further away is not hair
_FRAME = 0.02  # of the unit width: top and sides
_ROUNDS = 3
_ALIKE = 0.9  # overlap from which the first look stays: else a grain of noise would decide between equals
_BORNE_OUT = 0.3  # what full support by the other looks is worth beside the score of the rim


def grown_from(small: np.ndarray, first: np.ndarray, card: Floats | None) -> np.ndarray:
    """The piece of the photo that looks like the inside of a guess, (h, w) bool.

    Parameters
    ----------
    small : (h, w, 3) uint8
    first : (H, W) bool, a guess, of any size
    card : (4, 2), pixels of the small copy, or None
    """
    size = small.shape[:2]
    mask = resized(first, size)
    width = shape.hair_width(mask)
    solid = mask.astype(np.uint8)
    inside = cv2.erode(solid, shape.disc(_SURELY_HAIR * width), borderValue=0) > 0
    labels = np.full(size, cv2.GC_PR_BGD, np.uint8)
    labels[cv2.dilate(solid, shape.disc(_LIKELY_HAIR * width)) > 0] = cv2.GC_PR_FGD
    labels[inside] = cv2.GC_FGD
    edge = max(1, round(_FRAME * grab.unit(size)))
    labels[:edge] = labels[:, :edge] = labels[:, -edge:] = cv2.GC_BGD
    labels[cv2.dilate(solid, shape.disc(_SURELY_NOT * width)) == 0] = cv2.GC_BGD
    labels[grab.card_area(size, card)] = cv2.GC_BGD
    if not grab.can_cut(labels):
        return mask
    return shape.tidy(grab.cut(grab.look(small), labels, _ROUNDS), inside)


def resized(mask: np.ndarray, size: tuple[int, ...]) -> np.ndarray:
    """A mask on a copy of another size, (h, w) bool.

    Parameters
    ----------
    mask : (H, W) bool
    size : (h, w)
    """
    return np.asarray(cv2.resize(mask.astype(np.uint8) * 255, size[::-1], interpolation=cv2.INTER_LINEAR) > 127)


def chosen(small: np.ndarray, looks: Sequence[np.ndarray]) -> tuple[np.ndarray, float]:
    """The look to believe, (h, w) bool, and its overlap with the one most like it, 0..1.

    Parameters
    ----------
    small : (h, w, 3) uint8
    looks : (h, w) bool each, two or more, with something in each; the first stays where the best is much like it
    """
    channels = grab.look(small)
    shared = np.array([[overlap(one, other) for other in looks] for one in looks])
    np.fill_diagonal(shared, np.nan)
    worth = np.array([guess.score(channels, look) for look in looks]) + _BORNE_OUT * np.nanmean(shared, axis=1)
    best = int(np.argmax(worth))
    if best and shared[best, 0] >= _ALIKE:
        best = 0
    return looks[best], float(np.nanmax(shared[best]))


def overlap(one: np.ndarray, other: np.ndarray) -> float:
    """What two masks share, of what either holds, 0..1.

    Parameters
    ----------
    one, other : (h, w) bool, with something in either
    """
    return int((one & other).sum()) / int((one | other).sum())
