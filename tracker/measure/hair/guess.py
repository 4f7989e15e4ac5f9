"""First guesses at hair that nobody has marked.

Whoever photographs a head of hair puts it near the middle; what touches the frame is wall and clothes. Between the two
a graph cut decides by lightness, colour and texture.
"""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.hair import doubt, grab, shape

GUESS_EDGE = 120  # pixels of the longer side: enough for a start, and quick

_ROUNDS = 4
# where hair is looked for, in shares of the frame's unit width and of its height
_MIDDLE_X, _MIDDLE_Y = 0.5, 0.42
# places to start from, middle down the height and half axes: short, longer and long hair; the clearest rim decides
_SEEDS = ((0.36, 0.12, 0.16), (0.45, 0.14, 0.22), (0.55, 0.10, 0.35))
_AWAY_FROM_CARD = 0.06  # the card takes a side, so the head gives way to the other
_LIKELY_X, _LIKELY_Y = 0.24, 0.30
_FRAME = 0.04  # sides and top; clothes at the foot
_FOOT = 0.03
_SMALLEST = 0.03  # share of the photo
_USUAL = 0.25  # share of the photo
_SMALL_MATTERS = 0.15  # exponent: of two guesses with equally clear rims the larger is more often the whole head


def guess_hair(small: np.ndarray, card: Floats | None) -> tuple[np.ndarray, np.ndarray] | None:
    """The guess with the clearest rim and what any guess holds, (h, w) bool each, or None where nothing stands out.

    Parameters
    ----------
    small : (h, w, 3) uint8
    card : (4, 2), pixels of the small copy, or None
    """
    channels = grab.look(small)
    guesses = [shape.broad(_standing_out(channels, card, seed)) for seed in _SEEDS]
    guesses = [mask for mask in guesses if mask.mean() >= _SMALLEST]
    if not guesses:
        return None
    return max(guesses, key=lambda mask: score(channels, mask)), np.logical_or.reduce(guesses)


def score(channels: np.ndarray, mask: np.ndarray) -> float:
    """Score of a mask, 0..1: how clear its rim is, and whether it is as large as a head is.

    Parameters
    ----------
    channels : (h, w, 3) uint8, see `grab.look`
    mask : (h, w) bool, with something in it
    """
    clear, _ = doubt.clearness(channels, mask)
    return float(clear * min(1.0, float(mask.mean()) / _USUAL) ** _SMALL_MATTERS)


def _standing_out(channels: np.ndarray, card: Floats | None, seed: tuple[float, float, float]) -> np.ndarray:
    """The piece about the middle that is unlike what touches the frame."""
    height, width = channels.shape[:2]
    size = grab.unit(channels.shape)
    y, x = np.mgrid[:height, :width] + 0.5
    middle = _MIDDLE_X * width
    if card is not None:
        middle -= np.sign(card[:, 0].mean() - middle) * _AWAY_FROM_CARD * size
    likely = ((x - middle) / (_LIKELY_X * size)) ** 2 + ((y / height - _MIDDLE_Y) / _LIKELY_Y) ** 2 < 1
    surely = ((x - middle) / (seed[1] * size)) ** 2 + ((y / height - seed[0]) / seed[2]) ** 2 < 1
    labels = np.full((height, width), cv2.GC_PR_BGD, np.uint8)
    labels[likely] = cv2.GC_PR_FGD
    labels[surely] = cv2.GC_FGD
    edge = max(1, round(_FRAME * size))
    labels[:, :edge] = labels[:, -edge:] = labels[:edge] = cv2.GC_BGD
    labels[-max(1, round(_FOOT * height)) :] = cv2.GC_BGD
    labels[grab.card_area(channels.shape, card)] = cv2.GC_BGD
    if not np.any((labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD)):
        return np.zeros_like(surely)  # all of it lies on the card
    return shape.tidy(grab.cut(channels, labels, _ROUNDS), surely)
