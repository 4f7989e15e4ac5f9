"""Outlines of even cards in a photo, each measured and scored."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.reference_card.search.candidates import LARGEST, SMALLEST, Places, places
from tracker.measure.reference_card.search.covered import look_past
from tracker.measure.reference_card.search.geometry import all_sides, area, areas, each_once, overlap
from tracker.measure.reference_card.search.reduced import Reduced
from tracker.measure.reference_card.search.score import form, log_odds
from tracker.measure.reference_card.search.sides import look_inside, reaches, refine_all, rim_limit
from tracker.measure.reference_card.search.traits import Traits, inside_photo, traits_of_all

LONGEST_SIDE = 2.2
"""Longer over shorter side of a plain card."""
LONGEST_STEP, SMALLEST_STEP = 4.5, SMALLEST / 3
"""The same of a step of a card, and the share of the photo that it covers."""
_SMALL = 60.0  # pixels of the shorter side, below which the finer copy tells more
_SAME = 0.02  # of the size
_ALREADY = 0.005  # of the size: two places that lead to the same sides
_HOLDS, _WHOLE = 0.5, 0.9  # `edges` of an outline that sits on most of a card, `edge` of one whose sides are all seen
_HOPE = -12.0  # log odds by shape, below which no side moved makes a card
_TRIED = 8  # outlines a photo
_COVERED = 0.1  # of a side, before fingers are to blame
_SAME_THING = 0.3  # overlap


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """An even quadrilateral that may be a card.

    Attributes
    ----------
    quad : (4, 2), pixels of the search picture
    traits : Traits
    odds : float, log odds that it is one even card
    fine : bool, True where it was measured on the finer copy
    """

    quad: Floats
    traits: Traits
    odds: float
    fine: bool = False


def outlines(photo: Reduced, longest: float = LONGEST_SIDE, smallest: float = SMALLEST) -> list[Outline]:
    """All outlines that could be measured, in no order; worked out once for a photo.

    Parameters
    ----------
    photo : Reduced
    longest : float, largest ratio of the sides
    smallest : float, share of the photo
    """
    found = photo.shared("outlines", lambda: _all_outlines(photo))
    area_of_photo = float(np.prod(photo.size))
    return [
        one
        for one in found
        if one.traits.aspect < longest and smallest * area_of_photo <= area(one.quad) <= LARGEST * area_of_photo
    ]


def _all_outlines(photo: Reduced) -> list[Outline]:
    """Large ones measured on the search copy, small ones on the finer copy."""
    begin = places(photo.codes, LONGEST_STEP, SMALLEST_STEP)
    moved = np.empty((0, 4, 2))
    blurs = np.empty(0)
    for blur in np.unique(begin.blurs):
        there = refine_all(photo, begin.quads[begin.blurs == blur], reaches(float(blur))[0], LONGEST_STEP)
        there = _new(there, moved, _ALREADY)
        moved, blurs = np.concatenate([moved, there]), np.concatenate([blurs, np.full(len(there), blur)])
    small = all_sides(moved)[1].min(axis=1) < _SMALL
    finer = photo.finer if small.any() else None
    if finer is None:
        return _outlines(photo, Places(moved, blurs))
    found = _outlines(photo, Places(moved[~small], blurs[~small]))
    fine = _outlines(finer, Places(_moved(moved[small], photo, finer), blurs[small]))
    return found + [replace(one, quad=_moved(one.quad, finer, photo), fine=True) for one in fine]


def _moved(quads: Floats, here: Reduced, there: Reduced) -> Floats:
    """Pixels of one copy, from those of another."""
    return np.asarray(there.from_photo(here.to_photo(quads)))


def _outlines(photo: Reduced, begin: Places) -> list[Outline]:
    """The outlines of places whose sides lie about where they should."""
    quads = np.empty((0, 4, 2))
    for blur in np.unique(begin.blurs):
        moved = refine_all(photo, begin.quads[begin.blurs == blur], reaches(float(blur))[1], LONGEST_STEP)
        quads = np.concatenate([quads, _new(_inside(photo, moved), quads, _SAME)])
    first = _measured(photo, quads)
    doubtful = [
        one for one in first if one.traits.rim.max() > rim_limit(one.traits.noise) and one.traits.opposite > 0.75
    ]
    outer = np.array([one.quad for one in doubtful]).reshape(-1, 4, 2)
    inner = look_inside(photo, outer, np.array([one.traits.rim for one in doubtful]), LONGEST_STEP)
    found = first + _measured(photo, _new(_inside(photo, inner), quads, _SAME))
    return found + _past_fingers(photo, found)


def _past_fingers(photo: Reduced, found: list[Outline]) -> list[Outline]:
    """The most likely outlines of which a side shows little of an edge, with their sides where the card ends."""
    weak = [one for one in found if one.traits.edges > _HOLDS and one.traits.edge < _WHOLE and form(one.traits) > _HOPE]
    weak = sorted(weak, key=lambda one: -form(one.traits))[:_TRIED]
    moved = look_past(photo, np.array([one.quad for one in weak]).reshape(-1, 4, 2), LONGEST_STEP)
    known = np.array([one.quad for one in found]).reshape(-1, 4, 2)
    better = _measured(photo, _new(_inside(photo, moved), known, _ALREADY))
    return [one for one in better if one.traits.covered > _COVERED and all(_beats(one, other) for other in found)]


def _beats(one: Outline, other: Outline) -> bool:
    """True for the likelier outline of one thing that also shows more of an edge: not one beyond a faint side."""
    apart = overlap(one.quad, other.quad) < _SAME_THING
    return apart or (one.odds > other.odds and one.traits.edge > other.traits.edge)


def _measured(photo: Reduced, quads: Floats) -> list[Outline]:
    measured = zip(quads, traits_of_all(photo, quads), strict=True)
    return [Outline(quad, traits, log_odds(traits)) for quad, traits in measured]


def _inside(photo: Reduced, quads: Floats) -> Floats:
    """Those that lie wholly in the photo, large enough for a step of a card and not too large."""
    return quads[[inside_photo(photo, quad, SMALLEST_STEP, LARGEST) for quad in quads]]


def _new(quads: Floats, known: Floats, share: float) -> Floats:
    """Those that remain, each once, and unlike what is known."""
    quads = quads[np.isfinite(quads).all(axis=(1, 2))]
    return np.asarray(quads[each_once(quads, share * np.sqrt(areas(quads)) + 0.7, known)])
