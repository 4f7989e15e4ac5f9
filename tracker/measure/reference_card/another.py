"""Looks for the card of the chosen kind, and says so where what stands in the photo is a card of another kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracker.errors import CardAmbiguous, CardError, CardNotFound
from tracker.measure.reading import Point
from tracker.measure.reference_card.kind import CardKind, Corners
from tracker.measure.reference_card.kinds import KINDS
from tracker.measure.reference_card.search import FOUND, NONE, FoundCard
from tracker.measure.reference_card.search.geometry import area, overlap
from tracker.measure.reference_card.search.reduced import Reduced, reduce

_WITHIN = 0.7  # share of what was found that lies on the longer card
_LONGER = 1.2  # times the area of what was found, from which on it is only a part of that card


@dataclass(frozen=True, slots=True)
class CardSought:
    """What a look for the card of the chosen kind came to.

    Attributes
    ----------
    corners : four points, pixels; None where there is none
    error : CardError or None, what is in doubt
    other : CardKind or None, the kind of card that stands there instead
    """

    corners: Corners | None
    error: CardError | None
    other: CardKind | None = None


def look_for(encoded: np.ndarray, kind: CardKind, near: Point | None = None) -> CardSought:
    """The card of the chosen kind, or what stands in the photo instead.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    kind : CardKind, as chosen
    near : a point inside the card, pixels, as a person tapped it; None to look everywhere
    """
    if kind.search is None:
        return CardSought(
            None,
            CardNotFound("The program cannot find this kind of card by itself.", "Mark its four corners by hand."),
        )
    photo = reduce(encoded)
    seen = kind.search(photo, near)
    other = _other_kind(photo, kind, seen, near)
    if other is None:
        return CardSought(seen.corners, seen.error)
    if seen.state == NONE:
        error: CardError = CardNotFound(
            f"No card of this kind stands clear in the photo, but one of another kind does: “{other.title}”.",
            "Choose that kind of card, or take the photo again with the card that you chose.",
        )
        return CardSought(None, error, other)
    error = CardAmbiguous(
        f"What stands in the photo looks like another kind of card: “{other.title}”.",
        "Choose that kind, or look whether the outline lies on the card that you chose.",
    )
    return CardSought(seen.corners, error, other)


def _other_kind(photo: Reduced, kind: CardKind, seen: FoundCard, near: Point | None) -> CardKind | None:
    """The kind of card that stands in a photo instead of the chosen one; None where none does for sure."""
    found = seen.state == FOUND
    # a plain card's own search knows the steps of longer cards, and a longer card cannot be a part of a shorter one
    if found and kind.is_plain:
        return None
    others = [each for each in KINDS if each is not kind and (not found or len(each.boxes) > len(kind.boxes))]
    for other in sorted(others, key=lambda each: -len(each.boxes)):
        card = other.search(photo, near) if other.search is not None else None
        if card is not None and card.state == FOUND and (not found or _is_part(seen, card)):
            return other
    return None


def _is_part(seen: FoundCard, longer: FoundCard) -> bool:
    part, whole = np.array(seen.corners, float), np.array(longer.corners, float)
    return bool(overlap(part, whole) >= _WITHIN and area(whole) >= _LONGER * area(part))
