"""Sides of a card that fingers cover in part: a line along the fingertips cuts a corner off."""

from __future__ import annotations

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.geometry import all_corners_of, all_sides, which_card_shaped
from tracker.measure.reference_card.search.light import lights_on
from tracker.measure.reference_card.search.reduced import Reduced
from tracker.measure.reference_card.search.sides import (
    across_sides,
    means_along,
    sides_moved,
    straight_lines,
    sub_pixel,
)

_SAMPLES = 36  # over the way of the first round
_FINE = 0.5  # pixels between samples of the last round
# share of the shortest side, and pixels, by which a side may move inwards and outwards in each round
_ROUNDS = (((0.08, 0.0), (0.28, 0.0)), ((0.06, 2.0), (0.12, 2.0)), ((0.0, 2.5), (0.0, 2.5)))
_CORE = 0.62  # of a card's width and height, free of fingers
_BESIDE = 2.5  # pixels inside a side where the photo is the card, and outside it where it is not
_LIKE = 3.0, 1.0, 0.02  # noise, codes, and share of the card's codes, within which it is
_MOST = 6.0, 15.0  # times the noise, and codes: a larger step says no more


def look_past(photo: Reduced, quads: Floats, longest: float) -> Floats:
    """The outlines with their sides on what can be seen of the card's own edge; NaN where no card remains.

    Each place along a side counts for itself, so that fingers over some of them draw no side inwards.

    Parameters
    ----------
    photo : Reduced
    quads : (n, 4, 2), pixels
    longest : float, largest ratio of the sides
    """
    found = quads.copy()
    for k, across in enumerate(all_sides(quads)[1].min(axis=1)):
        gap = sum(share for share, _ in _ROUNDS[0]) * float(across) / _SAMPLES
        for limits, spacing in zip(_ROUNDS, (gap, gap / 2, _FINE), strict=True):
            inwards, outwards = (share * float(across) + pixels for share, pixels in limits)
            if np.isfinite(found[k]).all():
                found[k] = _voted(photo, found[[k]], (inwards, outwards), max(spacing, _FINE), longest)
    return found


def _voted(photo: Reduced, quad: Floats, reach: tuple[float, float], gap: float, longest: float) -> Floats:
    """One outline, (1, 4, 2), with each side where most places show the card inside it and its end."""
    light = lights_on(photo.smooth, quad, _CORE)
    noise = float(light.noise(photo.noise)[0])
    across = across_sides(photo.smooth, light, quad, np.full((1, 4), gap), reach)
    like = across.off <= _LIKE[0] * noise + _LIKE[1] + _LIKE[2] * float(light.plane[0, 0].mean())
    beside = max(round(_BESIDE / gap), 1)
    card_inside, card_outside = np.zeros_like(like), np.zeros_like(like)
    card_inside[..., beside:] = like[..., :-beside]
    card_outside[..., :-beside] = like[..., beside:]
    most = max(_MOST[0] * noise, _MOST[1])
    votes = np.sqrt(np.minimum(across.step, most)) * card_inside - np.sqrt(most) * card_outside
    within = np.full((1, 1), reach[0]), np.full((1, 1), reach[1])
    lines, allowed = straight_lines(across, all_sides(quad)[1], within)
    score = np.where(allowed, means_along(votes.astype(np.float32), lines), -np.inf)
    moved = all_corners_of(*sides_moved(quad, *sub_pixel(across, lines[score.argmax(axis=2)])))
    return moved if which_card_shaped(moved, 0.15, longest)[0] else np.full_like(moved, np.nan)
