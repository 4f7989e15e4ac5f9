"""Outlines of even cards in a photo, each measured and scored."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.candidates import LARGEST, SMALLEST, places
from tracker.measure.reference_card.search.geometry import area, areas, each_once
from tracker.measure.reference_card.search.reduced import Reduced
from tracker.measure.reference_card.search.score import log_odds
from tracker.measure.reference_card.search.sides import look_inside, reaches, refine_all, rim_limit
from tracker.measure.reference_card.search.traits import Traits, inside_photo, traits_of_all

LONGEST_SIDE = 2.2
"""Longer over shorter side of a plain card."""
LONGEST_STEP, SMALLEST_STEP = 4.5, SMALLEST / 3
"""The same of a step of a card, and the share of the photo that it covers."""
_SAME = 0.02  # of the size
_ALREADY = 0.005  # of the size: two places that lead to the same sides


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """An even quadrilateral that may be a card.

    Attributes
    ----------
    quad : (4, 2), pixels of the search picture
    traits : Traits
    odds : float, log odds that it is one even card
    """

    quad: Floats
    traits: Traits
    odds: float


def outlines(photo: Reduced, longest: float = LONGEST_SIDE, smallest: float = SMALLEST) -> list[Outline]:
    """All outlines that could be measured, in no order; worked out once for a photo.

    Parameters
    ----------
    photo : Reduced
    longest : float, largest ratio of the sides
    smallest : float, share of the photo
    """
    found = photo.shared("outlines", lambda: _outlines(photo))
    area_of_photo = float(np.prod(photo.size))
    return [
        one
        for one in found
        if one.traits.aspect < longest and smallest * area_of_photo <= area(one.quad) <= LARGEST * area_of_photo
    ]


def _outlines(photo: Reduced) -> list[Outline]:
    quads = np.empty((0, 4, 2))
    begun = np.empty((0, 4, 2))
    begin = places(photo.codes, LONGEST_STEP, SMALLEST_STEP)
    for blur in np.unique(begin.blurs):
        wide, close = reaches(float(blur))
        moved = _new(refine_all(photo, begin.quads[begin.blurs == blur], wide, LONGEST_STEP), begun, _ALREADY)
        begun = np.concatenate([begun, moved])
        moved = refine_all(photo, moved, close, LONGEST_STEP)
        quads = np.concatenate([quads, _new(_inside(photo, moved), quads, _SAME)])
    first = _measured(photo, quads)
    doubtful = [
        one for one in first if one.traits.rim.max() > rim_limit(one.traits.noise) and one.traits.opposite > 0.75
    ]
    outer = np.array([one.quad for one in doubtful]).reshape(-1, 4, 2)
    inner = look_inside(photo, outer, np.array([one.traits.rim for one in doubtful]), LONGEST_STEP)
    return first + _measured(photo, _new(_inside(photo, inner), quads, _SAME))


def _measured(photo: Reduced, quads: Floats) -> list[Outline]:
    measured = zip(quads, traits_of_all(photo, quads), strict=True)
    return [Outline(quad, traits, log_odds(traits)) for quad, traits in measured]


def _inside(photo: Reduced, quads: Floats) -> Floats:
    """Those that lie wholly in the photo, large enough for a step of a card and not too large."""
    return quads[[inside_photo(photo, quad, SMALLEST_STEP, LARGEST) for quad in quads]]


def _new(quads: Floats, known: Floats, share: float) -> Floats:
    """Those that remain, each once, and unlike what is known."""
    quads = quads[np.isfinite(quads).all(axis=(1, 2))]
    return quads[each_once(quads, share * np.sqrt(areas(quads)) + 0.7, known)]
