"""What a search for a card comes to: found, asked about, or none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.errors import CardAmbiguous, CardError, CardNotFound
from tracker.measure.reading import Point
from tracker.measure.reference_card.search.reduced import Reduced

Outline = tuple[Point, Point, Point, Point]

State = Literal["found", "ask", "none"]
FOUND: State = "found"
ASK: State = "ask"
NONE: State = "none"

Reason = Literal[
    "",
    "nothing",
    "faint",
    "several",
    "rim",
    "bright",
    "other_card",
    "few_markers",
    "bent",
    "two_boards",
    "cut_off",
]
"""Why a card is not simply found: nothing looks like one; its edge is faint or broken; several things look like one;
something lies along its inner edge; it is nearly white; it is a step of a card of several steps.
Of a printed board: one marker alone was seen; its markers do not lie in one plane; there are two; it leaves the photo.
"""

_BY_HAND = "If not, drag its four corners onto the card."
_SENTENCES: dict[Reason, tuple[str, str]] = {
    "nothing": (
        "No card of this kind stands clear in the photo.",
        "Mark its four corners by hand. If it is not wholly in the frame, take the photo again.",
    ),
    "faint": (
        "The outline may be the card, but its edge is faint, hidden or bent in places.",
        "Look whether all four corners lie on the card. Next time, hold it flat before something lighter or darker.",
    ),
    "several": (
        "More than one thing in the photo looks like the card: another card, a tile or a screen can.",
        f"Look whether the outline lies on the card. {_BY_HAND}",
    ),
    "rim": (
        "The outline may be the card, but something lies along its edge: a finger, print, gloss or a shadow.",
        "Look whether all four corners lie on the card, and keep fingers and gloss off it.",
    ),
    "bright": (
        "The outline is nearly white, so it may be paper, a screen or a card that shines.",
        f"Look whether it is the card. {_BY_HAND}",
    ),
    "other_card": (
        "What stands in the photo looks like one part of a card of several steps.",
        "Choose that kind of card, or look whether the outline lies on a plain card.",
    ),
    "few_markers": (
        "Only one of the holder’s four markers was seen, so its outline is a guess.",
        "Drag its four corners to the outer corners of the markers. Next time, keep fingers and hair off the markers, "
        "and hold the holder closer to the camera.",
    ),
    "bent": (
        "The holder is bent: its markers do not lie in one plane.",
        "Stick it onto stiff board and take the photo again. For this photo, look whether all four corners lie on the "
        "outer corners of the markers.",
    ),
    "two_boards": (
        "There are two holders in the photo.",
        "Tap the one beside the hair, or take the photo again with one.",
    ),
    "cut_off": (
        "Part of the holder is outside the photo.",
        "Take the photo again with all four markers in frame.",
    ),
}


@dataclass(frozen=True, slots=True)
class FoundCard:
    """The answer of a search.

    Attributes
    ----------
    state : "found" (sure), "ask" (shown as a question) or "none"
    corners : four points, pixels, clockwise from the card's own top left; None where none was found
    score : float, how likely it is the card, 0..1
    reason : code, why it is not simply found; empty where it is
    """

    state: State
    corners: Outline | None
    score: float
    reason: Reason = ""

    @property
    def error(self) -> CardError | None:
        """What to say to the person, and what to do; None for a card that was found."""
        if self.state == FOUND:
            return None
        what, advice = _SENTENCES[self.reason]
        return (CardAmbiguous if self.state == ASK else CardNotFound)(what, advice)


Search = Callable[[np.ndarray | Reduced, Point | None], FoundCard]


def found_corners(search: Search, encoded: np.ndarray) -> Outline:
    """Corners of a card that is there for sure.

    Parameters
    ----------
    search : of a kind of card
    encoded : (h, w, 3) uint8 or uint16, upright

    Raises
    ------
    CardNotFound, CardAmbiguous
    """
    card = search(encoded, None)
    if card.corners is None or card.error is not None:
        raise card.error or CardNotFound(*_SENTENCES["nothing"])
    return card.corners
