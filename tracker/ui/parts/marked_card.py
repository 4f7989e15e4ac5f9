"""Where the card of one photo lies: what is wrong with that, what is asked, and the ways to put it right."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import streamlit as st

from tracker.errors import CardAmbiguous, CardError, CardMisplaced, CardNotFound
from tracker.maths import polyline
from tracker.measure import CARD_KINDS, Suggestion, is_searched
from tracker.measure.reading import Marks, Point
from tracker.measure.reference_card import Corners
from tracker.ui.look import failure, warning
from tracker.ui.parts.held import drop, held


class Look(Protocol):
    """Looks for the card, unless its corners are given, and for the hair."""

    def __call__(
        self, corners: Corners | None = None, path: tuple[Point, ...] | None = None, near: Point | None = None
    ) -> Suggestion:
        """What was found: the hair along a path if one is given, the card round a point if one is given."""


@dataclass(frozen=True, slots=True)
class Looking:
    """How one photo is looked at.

    Attributes
    ----------
    look : looks for card and hair
    fault : tells what is wrong with where the card's corners lie; None where they lie on a card of their kind
    """

    look: Look
    fault: Callable[[Marks], CardError | None]


STILL = 1.0
"""How far a point may be from where it started and still count as not moved, pixels: rounding only."""

_BY_HAND = (
    "The program cannot find this kind of card by itself.",
    "Drag its four corners into place, starting with the card’s own top left.",
)
_TAP_OR_DRAG = (
    "Tap inside the card, or drag its corners onto it. If part of the card is outside the photo, take another photo."
)
_NOT_THERE = (
    "No card of this kind was found where you tapped.",
    "Tap nearer to the middle of the card, or drag its four corners onto it.",
)
_OR_TAP = "Or press “Tap the card”, then tap inside it in the photo."
_VOUCHED = "You said that this is the card. The result will say that it did not read as one."


@dataclass
class Looked:
    """What the searches of a photo found last.

    Attributes
    ----------
    card, hair : Suggestion or None, those that placed the corners and the outline; None where nobody has looked yet
    rev : int, how often the editor was told to begin with other marks
    near : point that a person tapped inside the card and round which it is still to be looked for; else None
    tapping : bool, True while a person asked to tap the card
    checked : kind and corners that were checked last, and what was wrong with them
    """

    card: Suggestion | None = None
    hair: Suggestion | None = None
    rev: int = 0
    near: Point | None = None
    tapping: bool = False
    checked: tuple[tuple[str, Corners], CardError | None] | None = None


def looked_at(photo_id: str) -> Looked:
    """What this window knows of a photo."""
    return held(Looked, photo_id)


def forget_looked(photo_id: str) -> None:
    """Let go of what was found in a photo."""
    drop(Looked, photo_id)


def taps_at_once(photo_id: str, marks: Marks) -> bool:
    """True where a tap on the photo means the card without being asked for: it is missing, and the hair is not."""
    return is_searched(marks.card_kind) and bool(marks.path) and not card_is_placed(photo_id, marks)


def round_the_tap(looked: Looked, near: Point, marks: Marks, looking: Looking) -> Marks:
    """The marks with the card round a tap; where none is found, its corners stay, to be dragged."""
    with st.spinner("Looking for the card"):
        found = looking.look(near=near)
    looked.near, looked.tapping = None, False
    if found.card is not None and not isinstance(found.card, CardAmbiguous):
        found = replace(found, marks=replace(found.marks, corners=marks.corners), card=CardNotFound(*_NOT_THERE))
    looked.card = found
    return replace(marks, corners=found.marks.corners, vouched=False)


def other_kind(photo_id: str, marks: Marks, *, key: str) -> str | None:
    """The kind of card that stands in the photo instead, once a person takes it; None before."""
    missing = not card_is_placed(photo_id, marks) or card_in_question(photo_id, marks) is not None
    found = looked_at(photo_id).card
    if marks.vouched or not missing or found is None or found.other is None:
        return None
    pressed = st.button(f"Use “{CARD_KINDS[found.other].title}”", type="primary", key=f"use-other-{key}")
    return found.other if pressed else None


def tap_the_card(photo_id: str, marks: Marks, *, in_doubt: bool, key: str) -> None:
    """The button after which a tap in the photo says where the card is, where that is in doubt."""
    tapping = looked_at(photo_id).tapping
    asked = card_in_question(photo_id, marks) is not None
    if not is_searched(marks.card_kind) or taps_at_once(photo_id, marks) or not (in_doubt or asked or tapping):
        return
    st.button(
        "Leave the card as it is" if tapping else "Tap the card",
        type="primary" if in_doubt and not tapping else "secondary",
        key=f"tap-card-{key}",
        on_click=_turn_tapping,
        args=(photo_id,),
    )


def _turn_tapping(photo_id: str) -> None:
    looked = looked_at(photo_id)
    looked.tapping = not looked.tapping


def card_fault(photo_id: str, marks: Marks, looking: Looking) -> CardError | None:
    """What is wrong with where the card's corners lie: a wall must not pass for a card, unless a person vouches."""
    if marks.vouched or marks.corners is None:
        return None
    looked = looked_at(photo_id)
    if not card_is_placed(photo_id, marks):
        missing = looked.card.card if looked.card is not None else None
        if missing is None:
            return CardMisplaced(*_BY_HAND)
        return CardNotFound(missing.what, missing.advice if missing.what == _NOT_THERE[0] else _TAP_OR_DRAG)
    where = marks.card_kind, marks.corners
    if looked.checked is None or looked.checked[0] != where:
        looked.checked = where, looking.fault(marks)
    return looked.checked[1]


def card_is_placed(photo_id: str, marks: Marks) -> bool:
    """True where a search or a person has put the corners somewhere; False while they wait to be put there."""
    first = looked_at(photo_id).card
    if first is None or first.marks.corners is None or marks.corners is None:
        return True
    if is_searched(marks.card_kind) and (first.card is None or isinstance(first.card, CardAmbiguous)):
        return True
    return polyline.moved(first.marks.corners, marks.corners) > STILL


def card_in_question(photo_id: str, marks: Marks) -> CardAmbiguous | None:
    """Why the outline that was found may not be the card, until somebody moves it."""
    first = looked_at(photo_id).card
    if first is None or first.marks.corners is None or marks.corners is None:
        return None
    still = polyline.moved(first.marks.corners, marks.corners) <= STILL
    return first.card if still and isinstance(first.card, CardAmbiguous) else None


def say_of_the_card(photo_id: str, marks: Marks, fault: CardError | None, *, measured: bool) -> bool:
    """True where the corners lie on the card for sure; else what is wrong and what is to be done is said."""
    if fault is not None:
        if card_is_placed(photo_id, marks):
            warning(fault.what, _with_tapping(photo_id, marks, fault.advice))
        else:
            failure(fault.what, fault.advice)
        return False
    if marks.vouched:
        st.markdown(_VOUCHED)
        return False
    asked = card_in_question(photo_id, marks)
    if asked is not None and not measured:
        warning(asked.what, _with_tapping(photo_id, marks, asked.advice))
        return False
    return True


def _with_tapping(photo_id: str, marks: Marks, advice: str) -> str:
    """The advice, with the button for tapping where that is there to be pressed."""
    offered = is_searched(marks.card_kind) and not looked_at(photo_id).tapping
    return f"{advice} {_OR_TAP}" if offered else advice
