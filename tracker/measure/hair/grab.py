"""Hair told from what surrounds it, on a small copy of the photo: two cuts, the first coarse, the second along the rim.

The first cut knows lightness, colour and fine texture, and is told by the path where to look. The second knows only
colour, and only moves the border that the first has found: texture is spread over a few pixels and would round it off.
"""

from __future__ import annotations

import cv2
import numpy as np

from tracker.maths import polyline
from tracker.maths.colorimetry import Floats
from tracker.measure.hair import strands
from tracker.measure.hair.shape import disc, filled_sides, hair_width, tidy, touching

COARSE_EDGE = 160  # pixels of the longer side: strands are texture, and clumps are not yet things of their own
FINE_EDGE = 240  # a pixel of it is about 2 mm of a head that fills the photo: finer costs time and moves no reading

_SEED = 1  # the colour models start from random centres: the same photo must give the same mask
_COARSE_ROUNDS = 3
_FINE_ROUNDS = 2
_CARD_GROWN = 1.25  # its edge, its shadow and the hand or stand that holds it
CARD_GROWN_FINE = 1.1

# shares of the width of an upright photo about the head
_SURELY_HAIR = 0.035  # to either side of the path
_LIKELY_HAIR = 0.17
_SURELY_NOT = 0.38
_RIM_INSIDE = 0.055  # how far the second cut may move the first border inwards
_RIM_OUTSIDE = 0.03
_SAME_COLOUR = 6.0  # codes of L*a*b* in 8 bit: less is one colour, whatever its spread
_ALIKE = 2.0  # spreads, over three channels: three in four places of one surface
_RING = 0.12  # of the hair's width: how far outside it wall, skin and clothes are learnt
_LEAST_KEPT = 0.5  # of the first cut
_TAPPED = 0.9  # of the path: its tip may be tapped on the clothes below
# shares of the height, beyond the path's ends
_LIKELY_ABOVE, _LIKELY_BELOW = 0.05, 0.03
_SURELY_ABOVE, _SURELY_BELOW = 0.11, 0.11


def small_copy(encoded: np.ndarray, edge: int) -> tuple[np.ndarray, float]:
    """The photo in 8 bit with a longer side of at most so many pixels, and its pixels per pixel of the photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16
    edge : int, pixels
    """
    height, width = encoded.shape[:2]
    shrink = min(1.0, edge / max(height, width))
    size = max(8, round(width * shrink)), max(8, round(height * shrink))
    small = cv2.resize(encoded, size, interpolation=cv2.INTER_AREA)
    if small.dtype != np.uint8:
        small = np.rint(small / 257.0).astype(np.uint8)
    return small, shrink


def unit(shape: tuple[int, ...]) -> float:
    """Width of an upright photo of that height, pixels: what a head's width is measured in, also in a wide photo.

    Parameters
    ----------
    shape : (h, w) or more, pixels
    """
    return min(float(shape[1]), 0.75 * shape[0])


def drawn(shape: tuple[int, ...], points: Floats, *, closed: bool = False, width: float = 0.0) -> np.ndarray:
    """Places on a line of some width, or inside a polygon, (h, w) bool.

    Parameters
    ----------
    shape : (h, w) or more, pixels
    points : (n, 2), pixels
    closed : bool, True for a polygon
    width : float, pixels, of the line
    """
    mask = np.zeros(shape[:2], np.uint8)
    whole = np.rint(points).astype(np.int32)
    if closed:
        cv2.fillPoly(mask, [whole], 1)
    else:
        cv2.polylines(mask, [whole], False, 1, max(1, round(width)))
    return mask.astype(bool)


def card_area(shape: tuple[int, ...], card: Floats | None, grown: float = _CARD_GROWN) -> np.ndarray:
    """Where the card lies, with a margin, (h, w) bool.

    Parameters
    ----------
    shape : (h, w) or more, pixels
    card : (4, 2), pixels, or None
    grown : float, times its size
    """
    if card is None:
        return np.zeros(shape[:2], bool)
    centre = card.mean(axis=0)
    return drawn(shape, centre + (card - centre) * grown, closed=True)


def look(small: np.ndarray) -> np.ndarray:
    """Lightness, colour and strength of fine texture in octaves, each as a channel of 8 bit.

    Octaves make shade and light alike: a head in half the light is the same step darker everywhere.

    Parameters
    ----------
    small : (h, w, 3) uint8
    """
    codes = small.astype(np.float32) + 1
    grey = strands.octaves(codes)
    texture = np.clip(np.log2(strands.strength_of(grey) + 0.01) * 36 + 245, 0, 255)
    lightness = np.clip((cv2.GaussianBlur(grey, (0, 0), 0.9) + 5.6) * 45, 0, 255)
    colour = cv2.GaussianBlur(np.clip(128 + 60 * np.log2(codes[..., 0] / codes[..., 2]), 0, 255), (0, 0), 0.9)
    return np.stack([lightness, colour, texture], -1).astype(np.uint8)


def cut(channels: np.ndarray, labels: np.ndarray, rounds: int) -> np.ndarray:
    """The labels' doubtful places decided by a graph cut with colour models: (h, w) bool.

    Parameters
    ----------
    channels : (h, w, 3) uint8
    labels : (h, w) uint8, as OpenCV names them: surely or perhaps the hair, surely or perhaps not
    rounds : int, how often the models are learnt anew
    """
    labels = labels.copy()
    models = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(_SEED)
    cv2.grabCut(np.ascontiguousarray(channels), labels, None, *models, rounds, cv2.GC_INIT_WITH_MASK)
    return np.asarray((labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD))


def coarse(small: np.ndarray, path: Floats, card: Floats | None) -> np.ndarray:
    """First cut: the piece of the photo that looks like what lies about the path.

    Parameters
    ----------
    small : (h, w, 3) uint8
    path : (n, 2), pixels of the small copy, root to tip
    card : (4, 2), pixels of the small copy, or None
    """
    shape = small.shape[:2]
    labels, inner = _about(path, shape)
    labels[card_area(shape, card)] = cv2.GC_BGD
    if not can_cut(labels):
        return inner
    return tidy(cut(look(small), labels, _COARSE_ROUNDS), inner)


def _about(path: Floats, shape: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """What the path alone says: labels for the cut, and the ribbon that is surely hair."""
    height, width = shape
    size = unit(shape)
    towards = path[-1] - path[0]
    towards = towards / max(float(np.hypot(*towards)), 1e-9)
    far = 2.0 * max(height, width)
    line = drawn(shape, np.vstack([path[0] - far * towards, path, path[-1] + far * towards]))
    off = cv2.distanceTransform(np.uint8(~line), cv2.DIST_L2, 3)
    y, x = np.mgrid[:height, :width]
    above = -((x - path[0, 0]) * towards[0] + (y - path[0, 1]) * towards[1])
    below = (x - path[-1, 0]) * towards[0] + (y - path[-1, 1]) * towards[1]
    labels = np.full(shape, cv2.GC_PR_BGD, np.uint8)
    labels[(off < _LIKELY_HAIR * size) & (above < _LIKELY_ABOVE * height) & (below < _LIKELY_BELOW * height)] = (
        cv2.GC_PR_FGD
    )
    labels[(off > _SURELY_NOT * size) | (above > _SURELY_ABOVE * height) | (below > _SURELY_BELOW * height)] = (
        cv2.GC_BGD
    )
    length = float(polyline.reached(path)[-1])
    sure = polyline.places(path, np.linspace(0, _TAPPED * length, 2 * len(path)))
    inner = drawn(shape, sure, width=2 * _SURELY_HAIR * size) & (above <= 0) & (below <= 0)
    labels[inner] = cv2.GC_FGD
    return labels, inner


def fine(small: np.ndarray, first: np.ndarray, card: Floats | None) -> np.ndarray:
    """Second cut: the border moved to where the colour changes.

    Parameters
    ----------
    small : (h, w, 3) uint8
    first : (H, W) bool, the first cut, of any size
    card : (4, 2), pixels of the small copy, or None
    """
    shape = small.shape[:2]
    mask: np.ndarray = cv2.resize(first.astype(np.uint8) * 255, shape[::-1], interpolation=cv2.INTER_LINEAR) > 127
    size = unit(shape)
    inside = cv2.erode(mask.astype(np.uint8), disc(_RIM_INSIDE * size), borderValue=0) > 0
    outside = cv2.dilate(mask.astype(np.uint8), disc(_RIM_OUTSIDE * size)) > 0
    labels = np.full(shape, cv2.GC_BGD, np.uint8)
    labels[outside] = cv2.GC_PR_BGD
    labels[mask] = cv2.GC_PR_FGD
    labels[inside] = cv2.GC_FGD
    labels[card_area(shape, card, CARD_GROWN_FINE)] = cv2.GC_BGD
    if not can_cut(labels):
        return mask
    part = _window(outside, round(0.1 * size))
    colour = cv2.cvtColor(cv2.GaussianBlur(small[part], (0, 0), 0.8), cv2.COLOR_RGB2LAB)
    found = np.zeros(shape, bool)
    found[part] = cut(colour, labels[part], _FINE_ROUNDS)
    found = tidy(found, inside)
    # where hair and wall are of one colour, colour alone would eat the hair up
    return found if found.sum() >= _LEAST_KEPT * mask.sum() else mask


def trimmed(small: np.ndarray, drawn_in: np.ndarray, line: np.ndarray, *, depth: float, ring: float) -> np.ndarray:
    """What a person drew, without the places along its rim that look like what is just outside.

    Parameters
    ----------
    small : (h, w, 3) uint8
    drawn_in : (h, w) bool, what lies inside the drawing
    line : (h, w) bool, surely hair
    depth : float, pixels from the rim within which a place may go
    ring : float, pixels outside the rim from which wall, skin and clothes are learnt
    """
    solid = drawn_in.astype(np.uint8)
    around = _ring(drawn_in, ring / 2, 1.5 * ring)
    core = (cv2.erode(solid, disc(depth), borderValue=0) > 0) | line
    labels = np.where(drawn_in, np.uint8(cv2.GC_PR_FGD), np.uint8(cv2.GC_BGD))
    labels[core] = cv2.GC_FGD
    part = _window(drawn_in, round(ring))
    if not can_cut(labels[part]):
        return drawn_in
    colour = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 0.8), cv2.COLOR_RGB2LAB)
    found = np.zeros(drawn_in.shape, bool)
    found[part] = cut(colour[part], labels[part], _FINE_ROUNDS)
    alike = like_outside(colour, around, ring)
    return np.asarray(drawn_in & ~touching(drawn_in & ~found & alike, ~drawn_in))


def with_notches(small: np.ndarray, hair: np.ndarray, card: Floats | None) -> np.ndarray:
    """The hair with what is missing at its sides, where that is not the wall: a light or a low piece at the rim.

    Parameters
    ----------
    small : (h, w, 3) uint8
    hair : (h, w) bool
    card : (4, 2), pixels of the small copy, or None
    """
    covered = card_area(small.shape, card)
    even = filled_sides(hair) & ~covered
    missing = even & ~hair
    if not missing.any():
        return hair
    ring = _RING * hair_width(hair)
    # not from the filled rim on: it cuts through the piece, whose rest would pass for wall
    around = _ring(even, ring, 2 * ring) & ~covered
    colour = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 0.8), cv2.COLOR_RGB2LAB)
    unlike = missing & ~like_outside(colour, around, ring)
    opened = cv2.morphologyEx(unlike.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)) > 0
    filled = tidy(hair | opened, hair)
    # what is filled ends where its neighbours end: a last cut moves that rim too
    return filled if np.array_equal(filled, hair) else fine(small, filled, card)


def _ring(mask: np.ndarray, start: float, stop: float) -> np.ndarray:
    """What lies outside a mask between two distances from it, pixels."""
    solid = mask.astype(np.uint8)
    return np.asarray((cv2.dilate(solid, disc(stop)) > 0) & ~(cv2.dilate(solid, disc(start)) > 0))


def like_outside(colour: np.ndarray, around: np.ndarray, reach: float) -> np.ndarray:
    """Which places have the colour of what is outside near them, (h, w) bool.

    Parameters
    ----------
    colour : (h, w, 3) uint8, L*a*b*
    around : (h, w) bool, what is outside
    reach : float, pixels that are near
    """
    codes = colour.astype(np.float32)
    window = (4 * round(reach) + 1,) * 2
    weight = cv2.blur(around.astype(np.float32), window)
    mean = cv2.blur(codes * around[..., None], window) / (weight[..., None] + 1e-6)
    square = cv2.blur(codes**2 * around[..., None], window) / (weight[..., None] + 1e-6)
    off = ((codes - mean) ** 2 / np.maximum(square - mean**2, _SAME_COLOUR**2)).sum(axis=-1)
    return np.asarray((weight > 1e-3) & (off < _ALIKE**2))


def _window(mask: np.ndarray, margin: int) -> tuple[slice, slice]:
    """The part of the picture that holds the mask, with a margin."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(0, rows[0] - margin), rows[-1] + margin + 1),
        slice(max(0, columns[0] - margin), columns[-1] + margin + 1),
    )


def can_cut(labels: np.ndarray) -> bool:
    """Whether both sides have something to learn from.

    Parameters
    ----------
    labels : (h, w) uint8, as OpenCV names them
    """
    hair = (labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD)
    return bool(hair.sum() > 20 and (~hair).sum() > 20)
