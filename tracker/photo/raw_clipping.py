"""The pixels of a developed raw photo that come from a saturated sensor value.

White balance, the means of neighbours and a camera's colour matrix all pull a saturated value below full scale, so
clipping is detected where it happens, in the sensor values.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

FULL = 65535

_ROWS = 256

_LOWEST_SATURATION = 0.75  # of the stated white level: no sensor saturates lower; a weak choice of our own
_PILE = 50  # sensor values at the very top, too many for chance; a weak choice of our own
_PILE_RATIO = 3  # times as many as at the value below: without saturation the light end thins out


def mark_clipped(
    codes: NDArray[Any], sensels: NDArray[Any], white: int, stated: Sequence[int] | None, reach: int
) -> None:
    """Set all three codes to full scale, in place, where any value behind the pixel is at the end of its range.

    Parameters
    ----------
    codes : uint16 (h, w, 3), developed, not turned
    sensels : uint16 (h, w) or (h, w, 3 or 4), the sensor's values at the same pixels
    white : int, the level that was developed to full scale
    stated : saturation levels of the channels, where the camera states them
    reach : int, pixels, how far developing reaches for a value, each way
    """
    level = saturation_level(sensels, white, stated)
    clipped = (sensels >= level) if sensels.ndim == 2 else (sensels[..., :3] >= level).any(axis=-1)
    if reach:
        clipped = cv2.dilate(clipped.astype(np.uint8), np.ones((2 * reach + 1,) * 2, np.uint8)).astype(bool)
    for channel in range(3):  # gains above one bring values to full scale that were not saturated
        clipped |= codes[..., channel] == FULL
    codes[clipped] = FULL


def saturation_level(sensels: NDArray[Any], white: int, stated: Sequence[int] | None) -> int:
    """The lowest sensor value that counts as saturated.

    Parameters
    ----------
    sensels : uint16, any shape
    white : int, the white level of the file
    stated : saturation levels of the channels, where the camera states them

    Notes
    -----
    The least of the white level, the camera's stated levels, and a spike: many values at the very top of the photo,
    far more than at the value below. Cameras that saturate below their stated white level leave one.
    """
    lowest = _LOWEST_SATURATION * white
    levels = [white, *(level for level in stated or () if level >= lowest)]
    counts = np.zeros(FULL + 1, np.int64)
    for row in range(0, len(sensels), _ROWS):  # a few at a time: counting takes eight bytes per value
        part = sensels[row : row + _ROWS]
        counts += np.bincount((part[..., :3] if part.ndim == 3 else part).ravel(), minlength=FULL + 1)
    top, *below = np.flatnonzero(counts)[:-3:-1]
    if top >= lowest and below and counts[top] >= _PILE and counts[top] > _PILE_RATIO * counts[below[0]]:
        levels.append(int(top))
    return min(levels)
