"""How sure a mask of the hair is: how unlike the two sides of its rim are, and whether it is whole."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.hair import grab, shape

LIMIT = 0.5  # from here on a person should look: `quality.limits.DOUBT`

# Each of these is the value at which the doubt reaches the limit. On 128 photos of rendered heads
# masks that lay beside the hair (overlap under 0.85) were told from the others by the first two in 99 of 100 pairs.
_WEAKEST_TENTH = 1.5  # contrast that all but a tenth of the rim exceeds, in units of spread
_CLEAR = 0.88  # mean contrast of the rim, where _PLAIN counts as 1
_PLAIN = 3.0
_MOVED = 0.10  # share of the mask by which looking a second time changed it
_SMALLEST = 0.06  # share of the photo
_AT_FRAME = 0.15  # share of the rim that lies at the photo's edge

_GAP = 0.012  # of the unit width, to either side of the rim: strands that stand off, and the lens
_REACH = 0.10  # of the unit width: a neighbourhood, wide enough for a clump
_FLOOR = 6.0  # codes: noise and compression


def of_mask(small: np.ndarray, hair: np.ndarray, first: np.ndarray) -> tuple[float, str]:
    """Doubt about a mask, 0..1, and what it is about (empty below the limit).

    Parameters
    ----------
    small : (h, w, 3) uint8
    hair : (h, w) bool, the mask
    first : (h, w) bool, what was found when looking for the first time
    """
    if not hair.any():
        return 1.0, "nothing was found"
    clear, weakest = clearness(grab.look(small), hair)
    either = int((hair | first).sum())
    moved = 1 - int((hair & first).sum()) / either
    doubts = {
        "the hair and what is behind it look alike": LIMIT * (2 - weakest / _WEAKEST_TENTH),
        "its edge is unclear": LIMIT * (1 - clear) / (1 - _CLEAR),
        "a second look found other hair": LIMIT * moved / _MOVED,
        "it is small in the photo": LIMIT * (2 - float(hair.mean()) / _SMALLEST),
        "it runs out of the photo": LIMIT * at_frame(hair) / _AT_FRAME,
    }
    reason, most = max(doubts.items(), key=lambda pair: pair[1])
    most = float(np.clip(most, 0, 1))
    return most, reason if most >= LIMIT else ""


def clearness(channels: np.ndarray, mask: np.ndarray) -> tuple[float, float]:
    """Mean clearness of the rim, 0..1, and the contrast that all but a tenth of it exceeds.

    Parameters
    ----------
    channels : (h, w, 3) uint8, see `grab.look`
    mask : (h, w) bool
    """
    contrast = rim_contrast(channels, mask)
    return float(np.clip(contrast / _PLAIN, 0, 1).mean()), float(np.quantile(contrast, 0.1))


def at_frame(mask: np.ndarray) -> float:
    """Share of the rim that lies at the photo's edge.

    Parameters
    ----------
    mask : (h, w) bool
    """
    rim = _rim(mask)
    framed = rim.copy()
    framed[2:-2, 2:-2] = False
    return float(framed.sum() / max(int(rim.sum()), 1))


def rim_contrast(channels: np.ndarray, mask: np.ndarray) -> Floats:
    """How unlike the two sides of the rim are, in units of their spread, for every place on it, (n,).

    Parameters
    ----------
    channels : (h, w, 3) uint8, see `grab.look`
    mask : (h, w) bool
    """
    size = grab.unit(channels.shape)
    gap, reach = max(1, round(_GAP * size)), max(3, round(_REACH * size)) | 1
    rim = _rim(mask)
    if not rim.any():
        return np.zeros(1)
    solid = mask.astype(np.uint8)
    sides = cv2.erode(solid, shape.disc(gap), borderValue=0), 1 - cv2.dilate(solid, shape.disc(gap))
    means, spreads = [], []
    codes = channels.astype(np.float32)
    for side in sides:
        weight = cv2.blur(side.astype(np.float32), (reach, reach)) + 1e-6
        mean = cv2.blur(codes * side[..., None], (reach, reach)) / weight[..., None]
        square = cv2.blur(codes**2 * side[..., None], (reach, reach)) / weight[..., None]
        means.append(mean[rim])
        spreads.append(np.maximum(square - mean**2, 0)[rim])
    squared = (means[0] - means[1]) ** 2 / ((spreads[0] + spreads[1]) / 2 + _FLOOR**2)
    return np.asarray(np.sqrt(squared.sum(axis=-1)), float)


def _rim(mask: np.ndarray) -> np.ndarray:
    """The outermost places of a mask."""
    return np.asarray(mask & (cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) == 0))
