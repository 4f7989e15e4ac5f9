"""Strands seen as fine texture: hair has it, cloth, skin and walls have little."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.hair.shape import disc, hair_width, tidy, touching

_SMOOTH = 0.4  # of the usual strength of texture: cloth and skin; of 128 masks of rendered hair one in fifty has any
_SMOOTH_WIDTH = 0.05  # of the hair's width, half: a gap between strands is narrower
_STRANDED = 0.6  # of the usual strength of texture: strands
_OVERLAP = 0.15  # of the hair's height: how far up from its lower end more of it may begin
_WORTH = 0.12  # of the hair
_CURL = 0.10  # of the hair's width, half, where hair hangs on
_LOCK = 0.28  # of the hair's width, half: hair that hangs on is broad, a neck and a collar are not
_CORE = 0.06  # of the hair's width: how far from its rim a mask is itself
_FEWEST = 50  # pixels of it
_TOP = 0.15  # of the hair's height: what is smooth there may be a hat
_BLURRED = 3  # pixels of the small copy
_LEAST_LEFT = 0.6  # of a mask, when smooth things go


def texture(small: np.ndarray) -> Floats:
    """Strength of fine texture, octaves, (h, w): strands have it, cloth, skin and walls have little.

    Parameters
    ----------
    small : (h, w, 3) uint8
    """
    return strength_of(octaves(small.astype(np.float32) + 1))


def octaves(codes: Floats) -> Floats:
    """Lightness in octaves, (h, w).

    Parameters
    ----------
    codes : (h, w, 3), 8-bit codes plus 1
    """
    return np.asarray(np.log2(codes.mean(axis=-1) / 255 + 0.02))


def strength_of(grey: Floats) -> Floats:
    """Strength of fine texture, octaves, (h, w).

    Parameters
    ----------
    grey : (h, w), lightness in octaves
    """
    return np.asarray(cv2.GaussianBlur(np.abs(grey - cv2.GaussianBlur(grey, (0, 0), 1.2)), (0, 0), 2.0))


def smooth_places(small: np.ndarray, hair: np.ndarray) -> np.ndarray:
    """Broad places of a mask with far less texture than the rest of it, (h, w) bool: cloth, skin, a box, a brush.

    Parameters
    ----------
    small : (h, w, 3) uint8
    hair : (h, w) bool
    """
    width = hair_width(hair)
    strength = texture(small)
    smooth = hair & (strength < _SMOOTH * float(np.median(strength[core(hair)])))
    opened = cv2.morphologyEx(smooth.astype(np.uint8), cv2.MORPH_OPEN, disc(_SMOOTH_WIDTH * width))
    return np.asarray(opened > 0)


def core(hair: np.ndarray) -> np.ndarray:
    """A mask without its rim, or all of it where nothing else would be left, (h, w) bool.

    Parameters
    ----------
    hair : (h, w) bool
    """
    inner = cv2.erode(hair.astype(np.uint8), disc(_CORE * hair_width(hair)), borderValue=0) > 0
    return np.asarray(inner if inner.sum() > _FEWEST else hair)


def without_smooth(small: np.ndarray, hair: np.ndarray) -> np.ndarray:
    """The mask without smooth things at its sides and at its foot: a cape, a neck, a box behind the hair.

    What is smooth at its top may be a hat, and what it encloses a face: these stay, and raise the doubt.

    Parameters
    ----------
    small : (h, w, 3) uint8
    hair : (h, w) bool
    """
    if not hair.any():
        return hair
    count, pieces = cv2.connectedComponents(smooth_places(small, hair).astype(np.uint8), connectivity=4)
    if count < 2:
        return hair
    rows = np.flatnonzero(hair.any(axis=1))
    top = rows[0] + _TOP * len(rows)
    # the texture's own blur makes a smooth thing look narrower than it is
    outside = cv2.dilate((~hair).astype(np.uint8), disc(_BLURRED)) > 0
    going = np.zeros_like(hair)
    for number in range(1, count):
        piece = pieces == number
        if (piece & outside).any() and np.flatnonzero(piece.any(axis=1))[0] > top:
            going |= cv2.dilate(piece.astype(np.uint8), disc(_BLURRED)) > 0
    rest = hair & ~going
    rest = tidy(rest, core(hair) & rest)
    return rest if rest.sum() >= _LEAST_LEFT * hair.sum() else hair


def with_strands_below(small: np.ndarray, hair: np.ndarray, covered: np.ndarray) -> np.ndarray:
    """The mask with what hangs below it and has strands like it: long hair over clothes of its own colour.

    Parameters
    ----------
    small : (h, w, 3) uint8
    hair : (h, w) bool, with something in it
    covered : (h, w) bool, where the card lies
    """
    width = hair_width(hair)
    strength = texture(small)
    rows, columns = np.flatnonzero(hair.any(axis=1)), np.flatnonzero(hair.any(axis=0))
    below = (strength > _STRANDED * float(np.median(strength[core(hair)]))) & ~covered
    below[: rows[-1] - round(_OVERLAP * len(rows))] = False
    below[:, : columns[0]] = below[:, columns[-1] + 1 :] = False
    broad = cv2.morphologyEx(below.astype(np.uint8), cv2.MORPH_OPEN, disc(_LOCK * width)) > 0
    if touching(broad & ~hair, hair).sum() <= _WORTH * hair.sum():
        return hair  # the blur of the texture, a collar, or the shadow under the tips
    solid = (below | hair).astype(np.uint8)
    hanging = below & (cv2.morphologyEx(solid, cv2.MORPH_OPEN, disc(_CURL * width)) > 0)
    return tidy(hair | hanging, hair)
