"""The marks of one photo: where the searches put card and hair, what they were unsure of, and looking again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import streamlit as st

from tracker.errors import CardAmbiguous, HairError, HairNotFound, TrackerError
from tracker.maths import polyline
from tracker.measure import Suggestion, is_searched
from tracker.measure.hair import outline_about
from tracker.measure.reading import Marks, Point
from tracker.measure.reference_card import Corners
from tracker.ui.components.point_editor import edit_marks
from tracker.ui.look import failure, warning
from tracker.ui.parts.held import drop, held

Look = Callable[[Corners | None, tuple[Point, ...] | None], Suggestion]
"""Looks for the card, unless its corners are given, and for the hair, along a path if one is given."""

_STILL = 1.0
"""How far a point may be from where it started and still count as not moved, pixels: rounding only."""

_PLACED = (
    "The corners should lie on the card’s corners. The line should run round all of the hair, and the dashed line from "
    "root to tip."
)
_BY_HAND = (
    "The program cannot find this kind of card by itself. Drag its four corners into place, starting with the card’s "
    "own top left."
)
_NOT_MOVED = "The card’s corners have not been moved yet. Drag each of the four onto its corner of the card."
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
    """

    card: Suggestion | None = None
    hair: Suggestion | None = None
    rev: int = 0


def note_found(photo_id: str, found: Suggestion) -> None:
    """Keep what a search for both card and hair found, and why it was not sure."""
    looked = held(_Looked, photo_id)
    looked.card = looked.hair = found


def note_card_found(photo_id: str, found: Suggestion) -> None:
    """Keep what a search for the card found."""
    held(_Looked, photo_id).card = found


def was_looked_at(photo_id: str) -> bool:
    """True where this window knows what was found in a photo."""
    return held(_Looked, photo_id).card is not None


def begin_anew(photo_id: str) -> None:
    """Let the editor of a photo begin with the marks that it is given."""
    held(_Looked, photo_id).rev += 1


def forget_marking(photo_id: str) -> None:
    """Let go of what was found in a photo."""
    drop(_Looked, photo_id)


def edited(photo_id: str, marks: Marks, *, key: str, url: str, size: tuple[int, int], label: str) -> Marks:
    """The editor; gives the marks where the person has put them, the same where nothing was moved."""
    if marks.corners is None:
        return marks
    result = edit_marks(
        key=key,
        url=url,
        size=size,
        corners=marks.corners,
        path=marks.path,
        outline=marks.outline,
        rev=held(_Looked, photo_id).rev,
        label=label,
    )
    return replace(marks, corners=result.corners, path=result.path, outline=result.outline)


def first_look(photo_id: str, marks: Marks, look: Look) -> Marks:
    """The marks after a search in a photo of which this window knows nothing yet; what is there already stays.

    A reload forgets why a card or an outline was doubted, so the photo is searched once more.
    """
    with st.spinner("Looking for card and hair"):
        found = look(None, None)
    note_found(photo_id, found)
    if marks.outline is None and marks.path:
        held(_Looked, photo_id).hair = None  # tapped, and not looked along yet
        return marks
    placed = marks if marks.corners is not None else replace(marks, corners=found.marks.corners)
    return placed if placed.outline is not None else _with_hair(placed, found)


def along_the_taps(photo_id: str, marks: Marks, look: Look) -> Marks | None:
    """The marks after a search along the three taps, found or not; None where there is nothing to look for."""
    if marks.outline is not None or not marks.path:
        return None
    looked = held(_Looked, photo_id)
    if looked.hair is not None and looked.hair.hair is not None and looked.hair.marks.path == marks.path:
        return None
    with st.spinner("Looking for the hair"):
        looked.hair = look(_placed_corners(photo_id, marks), marks.path)
    return _with_hair(marks, looked.hair)


def looks_right(photo_id: str, marks: Marks, *, measured: bool, key: str) -> bool:
    """What the person should look at, or do, and the button that says that it is done; True when it was pressed.

    It is the next thing to press only where nothing is in doubt, and cannot be pressed without an outline.
    """
    placed = _say_of_the_card(photo_id, marks, measured=measured)
    clear = _say_of_the_hair(photo_id, marks, measured=measured) and placed
    if clear:
        st.markdown(_PLACED)
    kind: Literal["primary", "secondary"] = "primary" if clear else "secondary"
    return st.button("Looks right", type=kind, disabled=marks.outline is None, key=key)


def look_again(photo_id: str, marks: Marks, look: Look, size: tuple[int, int], *, key: str) -> Marks | None:
    """The ways to place marks anew; gives the marks that a press placed, None where nothing was pressed."""
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
    return None


def card_not_placed(photo_id: str, marks: Marks) -> str | None:
    """What is wrong if no card was found and the corners were not moved: a wall must not pass for a card."""
    error = _card_error(photo_id, marks)
    if error is not None:
        return error.message
    return None if _card_is_placed(photo_id, marks) else _NOT_MOVED


def _card_again(photo_id: str, marks: Marks, look: Look) -> Marks:
    """The marks with the card looked for anew; the hair stays as it is marked."""
    with st.spinner("Looking for the card"):
        found = look(None, None)
    looked = held(_Looked, photo_id)
    looked.card = found
    moved = replace(marks, corners=found.marks.corners)
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


def _card_error(photo_id: str, marks: Marks) -> TrackerError | None:
    """Why no card was found, until the corners are moved."""
    first = held(_Looked, photo_id).card
    return None if first is None or _card_is_placed(photo_id, marks) else first.card


def _say_of_the_card(photo_id: str, marks: Marks, *, measured: bool) -> bool:
    """True where the corners lie on the card by now; else what is to be done before is said."""
    asked = _card_in_question(photo_id, marks)
    if asked is not None and not measured:
        warning(asked.what, asked.advice)
        return False
    if measured or _card_is_placed(photo_id, marks):
        return True
    error = _card_error(photo_id, marks)
    if error is not None:
        failure(error.what, error.advice)
    else:
        st.markdown(_BY_HAND)
    return False


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
