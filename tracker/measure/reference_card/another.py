"""Looks for the card of the chosen kind, and says so where what stands in the photo is a card of another kind."""

from __future__ import annotations

import numpy as np

from tracker.errors import CardAmbiguous, CardError, CardNotFound
from tracker.measure.reading import Point
from tracker.measure.reference_card.kind import CardKind, Corners
from tracker.measure.reference_card.kinds import KINDS
from tracker.measure.reference_card.search import FOUND, NONE, FoundCard
from tracker.measure.reference_card.search.geometry import area, overlap

_WITHIN = 0.7  # share of what was found that lies on the longer card
_LONGER = 1.2  # times the area of what was found, from which on it is only a part of that card


def look_for(encoded: np.ndarray, kind: CardKind, near: Point | None = None) -> tuple[Corners | None, CardError | None]:
    """Corners of the card, and what is in doubt about them; no corners where there is none.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    kind : CardKind, as chosen
    near : a point inside the card, pixels, as a person tapped it; None to look everywhere
    """
    if kind.search is None:
        return None, CardNotFound(
            "The program cannot find this kind of card by itself.", "Mark its four corners by hand."
        )
    seen = kind.search(encoded, near)
    other = other_kind(encoded, kind, seen, near)
    if other is None:
        return seen.corners, seen.error
    if seen.state == NONE:
        return None, CardNotFound(
            f"No card of this kind stands clear in the photo, but one of another kind does: “{other.title}”.",
            "Choose that kind of card, or take the photo again with the card that you chose.",
        )
    return seen.corners, CardAmbiguous(
        f"What stands in the photo looks like another kind of card: “{other.title}”.",
        "Choose that kind, or look whether the outline lies on the card that you chose.",
    )


def other_kind(encoded: np.ndarray, kind: CardKind, seen: FoundCard, near: Point | None = None) -> CardKind | None:
    """The kind of card that stands in a photo instead of the chosen one; None where none does for sure.

    Parameters
    ----------
    encoded : (h, w, 3) uint8 or uint16, upright
    kind : CardKind, as chosen
    seen : what the search for that kind came to
    near : as for that search
    """
    found = seen.state == FOUND
    # a plain card's own search knows the steps of longer cards, and a longer card cannot be a part of a shorter one
    if found and kind.is_plain:
        return None
    others = [each for each in KINDS if each is not kind and (not found or len(each.boxes) > len(kind.boxes))]
    for other in sorted(others, key=lambda each: -len(each.boxes)):
        card = other.search(encoded, near) if other.search is not None else None
        if card is not None and card.state == FOUND and (not found or _is_part(seen, card)):
            return other
    return None


def _is_part(seen: FoundCard, longer: FoundCard) -> bool:
    part, whole = np.array(seen.corners, float), np.array(longer.corners, float)
    return bool(overlap(part, whole) >= _WITHIN and area(whole) >= _LONGER * area(part))
