"""From outlines to one answer about a plain card: found, asked about, or none."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from tracker.measure.reading import Point
from tracker.measure.reference_card.search.found import ASK, FOUND, NONE, FoundCard, Reason
from tracker.measure.reference_card.search.geometry import contains, overlap
from tracker.measure.reference_card.search.plain import Outline, outlines
from tracker.measure.reference_card.search.reduced import Reduced, reduce
from tracker.measure.reference_card.search.rows import joins, rows_among
from tracker.measure.reference_card.search.score import fit, form, probability
from tracker.measure.reference_card.search.traits import Traits

_SURE, _MAYBE = 0.6, 0.1  # probability
_UNLIKELY = 2.0  # log odds against an outline that only a tap speaks for
_TAPPED = 1e-4  # a person who taps has said that there is a card
_HOLDS = 0.5  # of the outline that is taken
_CLEANEST = 3.6, 0.045  # codes, and share of the card's codes, by which the rim may differ from the middle
_GOES_ON = 0.25  # share of a strip outside a side that looks like the card: the side may lie along fingertips
_FINGERS, _BEYOND = (0.1, 0.65), 0.15  # share of a side that they cover; share of a strip outside that is like the card
_HELD_RIM = 5.0  # codes, at most, that fingers on a rim count against an outline
_LEAD = 1.5  # log odds over any other place
_BRIGHTEST = 205.0  # code above which even paper is more likely
_FAINTEST = 2.0  # codes across the weakest side
_SAME_THING = 0.3  # overlap
_BELONGS = -1.0, 4.0  # log odds and miss (pixels) of a longer card of which it is a step
_MAY_BELONG = 1.5, -8.0  # log odds of an outline that is hardly sure, and of the longer card that is enough to ask then
_TWO_STEPS = (1.0, 0.24)  # neighbours on a card of several steps, one against the other, about


def find_plain(encoded: np.ndarray | Reduced, near: Point | None = None) -> FoundCard:
    """The one plain card in a photo.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright; or its search copy, which several searches then share
    near : (x, y) or None, pixels, a point inside the card as a person tapped it

    Returns
    -------
    FoundCard : corners clockwise from the one nearest the photo's top left
    """
    photo = reduce(encoded)
    return decide(photo, outlines(photo), near)


def decide(photo: Reduced, found: list[Outline], near: Point | None = None) -> FoundCard:
    """One answer from all outlines of a photo.

    Parameters
    ----------
    photo : Reduced
    found : outlines of even cards in it
    near : (x, y) or None, pixels of the photo, a point inside the card
    """
    if near is not None:
        tapped = photo.from_photo(np.array(near))
        # a person knows a card also where its shape or its light is unlikely
        found = [
            replace(one, odds=max(one.odds, form(one.traits) - _UNLIKELY))
            for one in found
            if contains(one.quad, tapped)
        ]
    best = max(found, key=lambda outline: outline.odds, default=None)
    if best is None or probability(best.odds) < (_MAYBE if near is None else _TAPPED):
        return FoundCard(NONE, None, 0.0 if best is None else probability(best.odds), "nothing")
    taken = _fitting_best(found, best)
    elsewhere = [one.odds for one in found if overlap(one.quad, taken.quad) < _SAME_THING]
    reason = _doubt(best, taken, max(elsewhere, default=-math.inf))
    if near is not None:
        reason = ""
    elif not reason and _is_a_step(photo, taken):
        reason = "other_card"
    corners = photo.corners_of(taken.quad)
    return FoundCard(ASK if reason else FOUND, corners, probability(taken.odds), reason)


def _is_a_step(photo: Reduced, outline: Outline) -> bool:
    """True where a lighter or darker step of a longer card joins on."""
    rows = rows_among(photo, [outline], _TWO_STEPS)
    least = _BELONGS[0] if outline.odds > _MAY_BELONG[0] else _MAY_BELONG[1]
    return any(row.odds > least and row.miss < _BELONGS[1] for row in rows) or joins(photo, outline, _TWO_STEPS)


def _held(traits: Traits) -> bool:
    """True where fingers on a side are what its rim shows: they leave some of it, and no card lies beyond them."""
    return _FINGERS[0] < traits.covered < _FINGERS[1] and traits.goes_on < _BEYOND


def _fitting_best(found: list[Outline], best: Outline) -> Outline:
    """Of the outlines of the same thing, the one whose sides sit best."""
    least = max(0.15, 0.2 * probability(best.odds))
    same = [one for one in found if probability(one.odds) >= least and overlap(one.quad, best.quad) >= _SAME_THING]

    def sits(one: Outline) -> float:
        most = _HELD_RIM if _held(one.traits) else math.inf
        return max(min(one.odds, 20.0), -20.0) + fit(one.traits, most)

    return max(same or [best], key=sits)


def _doubt(best: Outline, taken: Outline, elsewhere: float) -> Reason:
    """Why the outline has to be asked about; empty where it need not be."""
    traits = taken.traits
    if taken.odds - max(elsewhere, -20.0) < _LEAD:
        return "several"
    if traits.goes_on > _GOES_ON:
        return "rim"
    if traits.rim.max() > max(_CLEANEST[0], _CLEANEST[1] * traits.brightest) and not _held(traits):
        return "rim"
    if traits.brightest > _BRIGHTEST:
        return "bright"
    if traits.step < _FAINTEST or probability(best.odds) < _SURE or probability(taken.odds) < _HOLDS:
        return "faint"
    return ""
