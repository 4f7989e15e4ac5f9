"""The marks of one photo: where the searches put card and hair, what they were unsure of, and looking again."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import streamlit as st

from tracker.errors import HairError, HairNotFound
from tracker.maths import polyline
from tracker.measure import Suggestion, is_searched
from tracker.measure.hair import outline_about
from tracker.measure.reading import Marks
from tracker.measure.reference_card import Corners
from tracker.ui.components.point_editor import edit_marks
from tracker.ui.look import failure, warning
from tracker.ui.parts.marked_card import (
    STILL,
    Look,
    Looking,
    card_fault,
    card_is_placed,
    forget_looked,
    looked_at,
    round_the_tap,
    say_of_the_card,
    tap_the_card,
    taps_at_once,
)

_PLACED = (
    "The corners should lie on the card’s corners. The line should run round all of the hair, and the dashed line from "
    "root to tip."
)
_TAP = "Tap the root, the middle and the tip of the hair: the program looks for it along them."
_NOTHING_ALONG = "No hair was found along these points."
_DRAW = "Start from a plain outline and drag it round the hair, or tap three other points."
_LOOK_ROUND = "Follow the line all the way round, and drag it where it is off. If it fits, go on."


def note_found(photo_id: str, found: Suggestion) -> None:
    """Keep what a search for both card and hair found, and why it was not sure."""
    looked = looked_at(photo_id)
    looked.card = looked.hair = found


def note_card_found(photo_id: str, found: Suggestion) -> None:
    """Keep what a search for the card found."""
    looked_at(photo_id).card = found


def was_looked_at(photo_id: str) -> bool:
    """True where this window knows what was found in a photo."""
    return looked_at(photo_id).card is not None


def begin_anew(photo_id: str) -> None:
    """Let the editor of a photo begin with the marks that it is given."""
    looked = looked_at(photo_id)
    looked.rev += 1
    looked.tapping = False


def forget_marking(photo_id: str) -> None:
    """Let go of what was found in a photo."""
    forget_looked(photo_id)


def edited(photo_id: str, marks: Marks, *, key: str, url: str, size: tuple[int, int], label: str) -> Marks:
    """The editor; gives the marks where the person has put them, the same where nothing was moved."""
    if marks.corners is None:
        return marks
    looked = looked_at(photo_id)
    result = edit_marks(
        key=key,
        url=url,
        size=size,
        corners=marks.corners,
        path=marks.path,
        outline=marks.outline,
        rev=looked.rev,
        label=label,
        tap_card=looked.tapping or taps_at_once(photo_id, marks),
    )
    looked.near = result.near
    vouched = marks.vouched and polyline.moved(marks.corners, result.corners) <= STILL
    return replace(marks, corners=result.corners, path=result.path, outline=result.outline, vouched=vouched)


def first_look(photo_id: str, marks: Marks, looking: Looking) -> Marks:
    """The marks after a search in a photo of which this window knows nothing yet; what is there already stays.

    A reload forgets why a card or an outline was doubted, so the photo is searched once more.
    """
    with st.spinner("Looking for card and hair"):
        found = looking.look()
    note_found(photo_id, found)
    if marks.outline is None and marks.path:
        looked_at(photo_id).hair = None  # tapped, and not looked along yet
        return marks
    placed = marks if marks.corners is not None else replace(marks, corners=found.marks.corners)
    return placed if placed.outline is not None else _with_hair(placed, found)


def after_taps(photo_id: str, marks: Marks, looking: Looking) -> Marks | None:
    """The marks after a search round a tap or along three, found or not; None where there is nothing to look for."""
    looked = looked_at(photo_id)
    if looked.near is not None and marks.corners is not None:
        return round_the_tap(looked, looked.near, marks, looking)
    if marks.outline is not None or not marks.path:
        return None
    if looked.hair is not None and looked.hair.hair is not None and looked.hair.marks.path == marks.path:
        return None
    with st.spinner("Looking for the hair"):
        looked.hair = looking.look(_placed_corners(photo_id, marks), marks.path)
    return _with_hair(marks, looked.hair)


def looks_right(photo_id: str, marks: Marks, looking: Looking, *, measured: bool, key: str) -> bool:
    """What the person should look at, or do, and the button that says that it is done; True when it was pressed.

    It is the next thing to press only where nothing is in doubt, and cannot be pressed without an outline, nor while
    the corners do not lie on something that reads as the card.
    """
    fault = card_fault(photo_id, marks, looking)
    placed = say_of_the_card(photo_id, marks, fault, measured=measured)
    clear = _say_of_the_hair(photo_id, marks, measured=measured) and placed
    if clear:
        st.markdown(_PLACED)
    kind: Literal["primary", "secondary"] = "primary" if clear else "secondary"
    cannot = marks.outline is None or fault is not None
    return st.button("Looks right", type=kind, disabled=cannot, key=key) and not cannot


def look_again(photo_id: str, marks: Marks, looking: Looking, size: tuple[int, int], *, key: str) -> Marks | None:
    """The ways to place marks anew; gives the marks that a press placed, None where nothing was pressed."""
    look, fault = looking.look, card_fault(photo_id, marks, looking)
    tap_the_card(photo_id, marks, in_doubt=fault is not None, key=key)
    if (
        marks.outline is None
        and marks.path
        and st.button("Start from a plain outline", type="primary", key=f"plain-{key}")
    ):
        looked_at(photo_id).hair = None
        return replace(marks, outline=outline_about(marks.path, size))
    if is_searched(marks.card_kind) and st.button("Find the card again", key=f"again-{key}"):
        return _card_again(photo_id, marks, look)
    if st.button("Find the hair again", key=f"hair-again-{key}"):
        return _hair_again(photo_id, marks, look)
    if (
        fault is not None
        and card_is_placed(photo_id, marks)
        and st.button("This is the card all the same", key=f"vouch-{key}")
    ):
        return replace(marks, vouched=True)
    return None


def _card_again(photo_id: str, marks: Marks, look: Look) -> Marks:
    """The marks with the card looked for anew; the hair stays as it is marked."""
    with st.spinner("Looking for the card"):
        found = look()
    looked = looked_at(photo_id)
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
    looked_at(photo_id).hair = found
    return marks if found.hair is not None and marks.outline is not None else _with_hair(marks, found)


def _with_hair(marks: Marks, found: Suggestion) -> Marks:
    return replace(marks, outline=found.marks.outline, path=found.marks.path)


def _placed_corners(photo_id: str, marks: Marks) -> Corners | None:
    """The corners that lie on the card; None where they still wait to be put there."""
    return marks.corners if card_is_placed(photo_id, marks) else None


def _say_of_the_hair(photo_id: str, marks: Marks, *, measured: bool) -> bool:
    """True where the outline only needs a look; else what is to be done, or to be looked at closely, is said."""
    found = looked_at(photo_id).hair
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
    return one is not None and other is not None and len(one) == len(other) and polyline.moved(one, other) <= STILL
