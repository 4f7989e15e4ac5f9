"""Outlines of even cards in a photo, each measured and scored."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.candidates import LARGEST, SMALLEST, places
from tracker.measure.reference_card.search.geometry import apart, area
from tracker.measure.reference_card.search.reduced import Reduced
from tracker.measure.reference_card.search.score import log_odds
from tracker.measure.reference_card.search.sides import look_inside, reaches, refine, rim_limit
from tracker.measure.reference_card.search.traits import Traits, inside_photo, traits_of

LONGEST_SIDE = 2.2
"""Longer over shorter side of a plain card."""
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
    """All outlines that could be measured, in no order.

    Parameters
    ----------
    photo : Reduced
    longest : float, largest ratio of the sides
    smallest : float, share of the photo
    """
    found: list[Outline] = []
    begun: list[Floats] = []
    for place in places(photo.codes, longest, smallest):
        wide, close = reaches(place.blur)
        quad = refine(photo, place.quad, place.blur, wide, longest)
        if quad is None or not _new(quad, begun, _ALREADY):
            continue
        begun.append(quad)
        quad = refine(photo, quad, place.blur, close, longest)
        if (
            quad is not None
            and _new(quad, [one.quad for one in found])
            and inside_photo(photo, quad, smallest, LARGEST)
        ):
            found += _measured(photo, quad, found, longest, smallest)
    return found


def _measured(photo: Reduced, quad: Floats, known: list[Outline], longest: float, smallest: float) -> list[Outline]:
    """The outline, and one further in where something else lies inside its sides."""
    first = _outline(photo, quad)
    found = [first]
    if first.traits.rim.max() > rim_limit(first.traits.noise) and first.traits.opposite > 0.75:
        inner = look_inside(photo, quad, first.traits.rim, longest)
        if (
            inner is not None
            and _new(inner, [one.quad for one in (*known, first)])
            and inside_photo(photo, inner, smallest, LARGEST)
        ):
            found.append(_outline(photo, inner))
    return found


def _outline(photo: Reduced, quad: Floats) -> Outline:
    traits = traits_of(photo, quad)
    return Outline(quad, traits, log_odds(traits))


def _new(quad: Floats, known: list[Floats], share: float = _SAME) -> bool:
    limit = share * np.sqrt(area(quad)) + 0.7
    return not known or bool(apart(quad, np.array(known)).min() >= limit)
