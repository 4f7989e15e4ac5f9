"""What a photo shows besides the colours: blur, gloss, fall-off of the light, room around the card, what lies on it."""

from __future__ import annotations

import numpy as np

from tracker.maths.colorimetry import Floats, luminance
from tracker.maths.rgb_space import RgbSpace
from tracker.measure.hair import Strip, gloss_share, pieces_across
from tracker.measure.quality import Seen, largest_blur, light_at_hair
from tracker.measure.reading import Point
from tracker.measure.reference_card import CardKind, Corners, unit_to_photo
from tracker.measure.reference_card.read import INSET
from tracker.measure.reference_card.surface import surface_of
from tracker.measure.sharpness import Sharpness, card_blur, hair_blur
from tracker.measure.way import Way

_SAMPLES = 24


def see(
    encoded: np.ndarray,
    space: RgbSpace,
    kind: CardKind,
    corners: Corners,
    way: Way,
    strip: Strip,
    linear: Floats,
) -> Seen:
    """Everything that the warnings are based on.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    space : RgbSpace, what the codes mean
    kind : CardKind
    corners : of the card, pixels, clockwise
    way : Way, over the hair that is read
    strip, linear : the photo straightened along it, and its balanced linear light
    """
    grey = _patch(kind, corners)
    width, pieces = way.width, pieces_across(way.stripes)
    hair = hair_blur(encoded, way.path.points, way.path.width, largest_blur(width, pieces), grey)
    top = np.iinfo(strip.codes.dtype).max
    burnt = np.any(strip.codes >= top - top // 255, axis=-1)
    ev, x, y = _grey_samples(encoded, space, kind, corners)
    return Seen(
        Sharpness(hair, card_blur(encoded, corners)),
        width,
        pieces,
        gloss_share(linear, strip.inside, burnt, way.stripes),
        light_at_hair(ev, x, y, way.path.points),
        _margin(corners, encoded.shape),
        surface_of(encoded, space, kind, corners),
    )


def share_on_card(strip: Strip, corners: Corners) -> float:
    """Share of the ribbon that lies on the card, 0..1.

    Parameters
    ----------
    strip : Strip, the photo straightened along the path
    corners : clockwise, pixels, of a convex card
    """
    on = np.ones(strip.x.shape, bool)
    for (x0, y0), (x1, y1) in zip(corners, (*corners[1:], corners[0]), strict=True):
        on &= (x1 - x0) * (strip.y - y0) - (y1 - y0) * (strip.x - x0) >= 0
    return float(on[strip.inside].mean()) if strip.inside.any() else 0.0


def _patch(kind: CardKind, corners: Corners) -> tuple[Point, ...]:
    """Corners of the balancing grey in the photo."""
    left, top, right, bottom = kind.boxes[kind.grey]
    x, y = unit_to_photo(corners, np.array([left, right, right, left]), np.array([top, top, bottom, bottom]))
    return tuple((float(a), float(b)) for a, b in zip(x, y, strict=True))


def _grey_samples(
    encoded: np.ndarray, space: RgbSpace, kind: CardKind, corners: Corners
) -> tuple[Floats, Floats, Floats]:
    """Exposure of samples of the balancing grey in EV, and their x and y in the photo."""
    left, top, right, bottom = kind.boxes[kind.grey]
    steps = (np.arange(_SAMPLES) + 0.5) / _SAMPLES * (1 - 2 * INSET) + INSET
    across, down = np.meshgrid(left + steps * (right - left), top + steps * (bottom - top))
    x, y = (axis.ravel() for axis in unit_to_photo(corners, across, down))
    height, width = encoded.shape[:2]
    codes = encoded[np.clip(y, 0, height - 1).astype(np.intp), np.clip(x, 0, width - 1).astype(np.intp)]
    return np.log2(np.maximum(luminance(space.linear(codes)), 1e-5)).astype(float), x, y


def _margin(corners: Corners, shape: tuple[int, ...]) -> float:
    points = np.asarray(corners, float)
    return float(np.minimum(points, np.array([shape[1], shape[0]]) - points).min())
