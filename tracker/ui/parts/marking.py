"""The marks of one photo: where the searches put card and hair, what they were unsure of, and looking again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, Protocol

import streamlit as st

from tracker.errors import CardAmbiguous, CardError, CardMisplaced, CardNotFound, HairError, HairNotFound
from tracker.maths import polyline
from tracker.measure import CARD_KINDS, Suggestion, is_searched
from tracker.measure.hair import outline_about
from tracker.measure.reading import Marks, Point
from tracker.measure.reference_card import Corners
from tracker.ui.components.point_editor import edit_marks
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
    other : gives another kind of card that stands in the photo, by the kind that is marked; None where none does
    """

    look: Look
    fault: Callable[[Marks], CardError | None]
    other: Callable[[str], str | None]


_STILL = 1.0
"""How far a point may be from where it started and still count as not moved, pixels: rounding only."""

_PLACED = (
    "The corners should lie on the card’s corners. The line should run round all of the hair, and the dashed line from "
    "root to tip."
)
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
_TAP = "Tap the root, the middle and the tip of the hair: the program looks for it along them."
_NOTHING_ALONG = "No hair was found along these points."
_DRAW = "Start from a plain outline and drag it round the hair, or tap three other points."
_LOOK_ROUND = "Follow the line all the way round, and drag it where it is off. If it fits, go on."


@dataclass
class _Looked:
    """What the searches of a photo found last.

    Attributes
    ----------
    card, hair : Suggestion or None, those that placed the corners and the outline; None where nobody has looked yet
    rev : int, how often the editor was told to begin with other marks
    near : point that a person tapped inside the card and round which it is still to be looked for; else None
    tapping : bool, True while a person asked to tap the card
    checked : kind and corners that were checked last, and what was wrong with them
    other : another kind of card that was found, empty where there is none; None while nobody looked for one
    """

    card: Suggestion | None = None
    hair: Suggestion | None = None
    rev: int = 0
    near: Point | None = None
    tapping: bool = False
    checked: tuple[tuple[str, Corners], CardError | None] | None = None
    other: str | None = None


def note_found(photo_id: str, found: Suggestion) -> None:
    """Keep what a search for both card and hair found, and why it was not sure."""
    looked = held(_Looked, photo_id)
    looked.card = looked.hair = found
    looked.other = None


def note_card_found(photo_id: str, found: Suggestion) -> None:
    """Keep what a search for the card found."""
    looked = held(_Looked, photo_id)
    looked.card, looked.other = found, None


def was_looked_at(photo_id: str) -> bool:
    """True where this window knows what was found in a photo."""
    return held(_Looked, photo_id).card is not None


def begin_anew(photo_id: str) -> None:
    """Let the editor of a photo begin with the marks that it is given."""
    looked = held(_Looked, photo_id)
    looked.rev += 1
    looked.tapping = False


def forget_marking(photo_id: str) -> None:
    """Let go of what was found in a photo."""
    drop(_Looked, photo_id)


def edited(photo_id: str, marks: Marks, *, key: str, url: str, size: tuple[int, int], label: str) -> Marks:
    """The editor; gives the marks where the person has put them, the same where nothing was moved."""
    if marks.corners is None:
        return marks
    looked = held(_Looked, photo_id)
    result = edit_marks(
        key=key,
        url=url,
        size=size,
        corners=marks.corners,
        path=marks.path,
        outline=marks.outline,
        rev=looked.rev,
        label=label,
        tap_card=looked.tapping or _taps_at_once(photo_id, marks),
    )
    looked.near = result.near
    vouched = marks.vouched and polyline.moved(marks.corners, result.corners) <= _STILL
    return replace(marks, corners=result.corners, path=result.path, outline=result.outline, vouched=vouched)


def _taps_at_once(photo_id: str, marks: Marks) -> bool:
    """True where a tap on the photo means the card without being asked for: it is missing, and the hair is not."""
    return is_searched(marks.card_kind) and bool(marks.path) and not _card_is_placed(photo_id, marks)


def first_look(photo_id: str, marks: Marks, looking: Looking) -> Marks:
    """The marks after a search in a photo of which this window knows nothing yet; what is there already stays.

    A reload forgets why a card or an outline was doubted, so the photo is searched once more.
    """
    with st.spinner("Looking for card and hair"):
        found = looking.look()
    note_found(photo_id, found)
    if marks.outline is None and marks.path:
        held(_Looked, photo_id).hair = None  # tapped, and not looked along yet
        return marks
    placed = marks if marks.corners is not None else replace(marks, corners=found.marks.corners)
    return placed if placed.outline is not None else _with_hair(placed, found)


def after_taps(photo_id: str, marks: Marks, looking: Looking) -> Marks | None:
    """The marks after a search round a tap or along three, found or not; None where there is nothing to look for."""
    looked = held(_Looked, photo_id)
    if looked.near is not None and marks.corners is not None:
        return _round_the_tap(looked, looked.near, marks, looking)
    if marks.outline is not None or not marks.path:
        return None
    if looked.hair is not None and looked.hair.hair is not None and looked.hair.marks.path == marks.path:
        return None
    with st.spinner("Looking for the hair"):
        looked.hair = looking.look(_placed_corners(photo_id, marks), marks.path)
    return _with_hair(marks, looked.hair)


def _round_the_tap(looked: _Looked, near: Point, marks: Marks, looking: Looking) -> Marks:
    """The marks with the card round a tap; where none is found, its corners stay, to be dragged."""
    with st.spinner("Looking for the card"):
        found = looking.look(near=near)
    looked.near, looked.tapping = None, False
    if found.card is not None and not isinstance(found.card, CardAmbiguous):
        found = replace(found, marks=replace(found.marks, corners=marks.corners), card=CardNotFound(*_NOT_THERE))
    looked.card = found
    return replace(marks, corners=found.marks.corners, vouched=False)


def looks_right(photo_id: str, marks: Marks, looking: Looking, *, measured: bool, key: str) -> bool:
    """What the person should look at, or do, and the button that says that it is done; True when it was pressed.

    It is the next thing to press only where nothing is in doubt, and cannot be pressed without an outline, nor while
    the corners do not lie on something that reads as the card.
    """
    fault = card_fault(photo_id, marks, looking)
    placed = _say_of_the_card(photo_id, marks, fault, measured=measured)
    clear = _say_of_the_hair(photo_id, marks, measured=measured) and placed
    if clear:
        st.markdown(_PLACED)
    kind: Literal["primary", "secondary"] = "primary" if clear else "secondary"
    cannot = marks.outline is None or fault is not None
    return st.button("Looks right", type=kind, disabled=cannot, key=key) and not cannot


def look_again(photo_id: str, marks: Marks, looking: Looking, size: tuple[int, int], *, key: str) -> Marks | None:
    """The ways to place marks anew; gives the marks that a press placed, None where nothing was pressed."""
    look, fault = looking.look, card_fault(photo_id, marks, looking)
    _tap_the_card(photo_id, marks, in_doubt=fault is not None, key=key)
    if (
        marks.outline is None
        and marks.path
        and st.button("Start from a plain outline", type="primary", key=f"plain-{key}")
    ):
        held(_Looked, photo_id).hair = None
        return replace(marks, outline=outline_about(marks.path, size))
    if is_searched(marks.card_kind) and st.button("Find the card again", key=f"again-{key}"):
        return _card_again(photo_id, marks, look)
    if st.button("Find the hair again", key=f"hair-again-{key}"):
        return _hair_again(photo_id, marks, look)
    if (
        fault is not None
        and _card_is_placed(photo_id, marks)
        and st.button("This is the card all the same", key=f"vouch-{key}")
    ):
        return replace(marks, vouched=True)
    return None


def other_kind(photo_id: str, marks: Marks, looking: Looking, *, key: str) -> str | None:
    """The kind of card that a person took instead of the one that is not found, or not for sure; None for none."""
    missing = not _card_is_placed(photo_id, marks) or _card_in_question(photo_id, marks) is not None
    if marks.vouched or not missing:
        return None
    looked = held(_Looked, photo_id)
    if looked.other is None and st.button("Look for another kind of card", key=f"other-{key}"):
        with st.spinner("Looking for the other kinds of card"):
            looked.other = looking.other(marks.card_kind) or ""
        st.rerun()
    if looked.other == "":
        st.markdown("No card of another kind was found for sure either.")
    elif looked.other is not None:
        st.markdown(f"This looks like another kind of card: {CARD_KINDS[looked.other].title}.")
        if st.button("Use that kind", type="primary", key=f"use-other-{key}"):
            return looked.other
    return None


def _tap_the_card(photo_id: str, marks: Marks, *, in_doubt: bool, key: str) -> None:
    """The button after which a tap in the photo says where the card is, where that is in doubt."""
    tapping = held(_Looked, photo_id).tapping
    asked = _card_in_question(photo_id, marks) is not None
    if not is_searched(marks.card_kind) or _taps_at_once(photo_id, marks) or not (in_doubt or asked or tapping):
        return
    st.button(
        "Leave the card as it is" if tapping else "Tap the card",
        type="primary" if in_doubt and not tapping else "secondary",
        key=f"tap-card-{key}",
        on_click=_turn_tapping,
        args=(photo_id,),
    )


def _turn_tapping(photo_id: str) -> None:
    looked = held(_Looked, photo_id)
    looked.tapping = not looked.tapping


def card_fault(photo_id: str, marks: Marks, looking: Looking) -> CardError | None:
    """What is wrong with where the card's corners lie: a wall must not pass for a card, unless a person vouches."""
    if marks.vouched or marks.corners is None:
        return None
    looked = held(_Looked, photo_id)
    if not _card_is_placed(photo_id, marks):
        missing = looked.card.card if looked.card is not None else None
        if missing is None:
            return CardMisplaced(*_BY_HAND)
        return CardNotFound(missing.what, missing.advice if missing.what == _NOT_THERE[0] else _TAP_OR_DRAG)
    where = marks.card_kind, marks.corners
    if looked.checked is None or looked.checked[0] != where:
        looked.checked = where, looking.fault(marks)
    return looked.checked[1]


def _card_again(photo_id: str, marks: Marks, look: Look) -> Marks:
    """The marks with the card looked for anew; the hair stays as it is marked."""
    with st.spinner("Looking for the card"):
        found = look()
    looked = held(_Looked, photo_id)
    looked.card = found
    moved = replace(marks, corners=found.marks.corners, vouched=False)
    if marks.outline is not None or marks.path:
        return moved
    looked.hair = found
    return _with_hair(moved, found)


def _hair_again(photo_id: str, marks: Marks, look: Look) -> Marks:
    """The marks with the hair looked for anew; the card stays where it is, and an outline where nothing is found."""
    with st.spinner("Looking for the hair"):
        found = look(_placed_corners(photo_id, marks), None)
    held(_Looked, photo_id).hair = found
    return marks if found.hair is not None and marks.outline is not None else _with_hair(marks, found)


def _with_hair(marks: Marks, found: Suggestion) -> Marks:
    return replace(marks, outline=found.marks.outline, path=found.marks.path)


def _placed_corners(photo_id: str, marks: Marks) -> Corners | None:
    """The corners that lie on the card; None where they still wait to be put there."""
    return marks.corners if _card_is_placed(photo_id, marks) else None


def _card_is_placed(photo_id: str, marks: Marks) -> bool:
    first = held(_Looked, photo_id).card
    if first is None or first.marks.corners is None or marks.corners is None:
        return True
    if is_searched(marks.card_kind) and (first.card is None or isinstance(first.card, CardAmbiguous)):
        return True
    return polyline.moved(first.marks.corners, marks.corners) > _STILL


def _card_in_question(photo_id: str, marks: Marks) -> CardAmbiguous | None:
    """Why the outline that was found may not be the card, until somebody moves it."""
    first = held(_Looked, photo_id).card
    if first is None or first.marks.corners is None or marks.corners is None:
        return None
    still = polyline.moved(first.marks.corners, marks.corners) <= _STILL
    return first.card if still and isinstance(first.card, CardAmbiguous) else None


def _say_of_the_card(photo_id: str, marks: Marks, fault: CardError | None, *, measured: bool) -> bool:
    """True where the corners lie on the card for sure; else what is wrong and what is to be done is said."""
    if fault is not None:
        if _card_is_placed(photo_id, marks):
            warning(fault.what, _with_tapping(photo_id, marks, fault.advice))
        else:
            failure(fault.what, fault.advice)
        return False
    if marks.vouched:
        st.markdown(_VOUCHED)
        return False
    asked = _card_in_question(photo_id, marks)
    if asked is not None and not measured:
        warning(asked.what, _with_tapping(photo_id, marks, asked.advice))
        return False
    return True


def _with_tapping(photo_id: str, marks: Marks, advice: str) -> str:
    """The advice, with the button for tapping where that is there to be pressed."""
    offered = is_searched(marks.card_kind) and not held(_Looked, photo_id).tapping
    return f"{advice} {_OR_TAP}" if offered else advice


def _say_of_the_hair(photo_id: str, marks: Marks, *, measured: bool) -> bool:
    """True where the outline only needs a look; else what is to be done, or to be looked at closely, is said."""
    found = held(_Looked, photo_id).hair
    missing = None if found is None else found.hair
    if marks.outline is None:
        _say_what_is_missing(marks, missing)
        return False
    if measured:
        return True
    if missing is not None:
        failure(missing.what, "The line stays as it was.")
        return False
    if found is not None and found.doubt and _is_as_found(marks, found):
        warning(found.doubt.what, f"{found.doubt.advice} {_LOOK_ROUND}")
        return False
    return True


def _say_what_is_missing(marks: Marks, missing: HairError | None) -> None:
    """Why there is no outline, and how it comes to be there."""
    if marks.path:
        # what was not found was looked for along the taps, not about the middle of the photo
        failure(_NOTHING_ALONG if missing is None or isinstance(missing, HairNotFound) else missing.what, _DRAW)
    elif missing is not None:
        failure(missing.what, _TAP)
    else:
        st.markdown(_TAP)


def _is_as_found(marks: Marks, found: Suggestion) -> bool:
    """True where nobody has moved the outline since it was found."""
    one, other = marks.outline, found.marks.outline
    return one is not None and other is not None and len(one) == len(other) and polyline.moved(one, other) <= _STILL
