"""Step 2: the card's corners and the way along the hair, already placed, to be looked at and corrected."""

from __future__ import annotations

from dataclasses import dataclass, replace

import streamlit as st

from tracker import workflow
from tracker.maths import polyline
from tracker.measure import is_searched
from tracker.measure.reading import Marks
from tracker.record.records import PhotoRecord
from tracker.ui.components.point_editor import edit_marks
from tracker.ui.look import failure
from tracker.ui.opened import OPENED
from tracker.ui.pages.new_visit.draft_state import (
    Work,
    card_problem,
    go_to_step,
    note_card_problem,
    put_photo,
)
from tracker.ui.parts.focus import moved_on
from tracker.ui.parts.held import held
from tracker.ui.parts.notices import told
from tracker.ui.parts.pictures import LARGE, picture_ratio, picture_url
from tracker.ui.parts.reading_view import checks, no_number

_STILL = 1.0
"""How far a corner may be from where it started and still count as not moved, pixels: rounding only."""

_PLACED = "The four corners should lie on the card’s corners, and the line should run from root to tip."

_PHOTO = "marks-photo"
"""Key of the field that says which photo is shown."""


@dataclass
class _Next:
    """Which photo of a client is to be shown next."""

    photo: str | None = None


@dataclass
class _Editor:
    """How often the editor of a photo was told to begin with other marks."""

    rev: int = 0


def show(work: Work) -> None:
    """The step, one photo at a time."""
    if not work.photos:
        go_to_step(work, 0)
    names = {photo.id: f"{work.name(photo)}{_how_far(photo)}" for photo in work.photos}
    st.session_state[_PHOTO] = _which(work, list(names))
    if len(names) > 1:
        st.segmented_control(
            "Photo",
            list(names),
            format_func=names.__getitem__,
            key=_PHOTO,
            required=True,
            label_visibility="collapsed",
        )
    _one_photo(work, st.session_state[_PHOTO])


def _how_far(photo: PhotoRecord) -> str:
    """What follows the name of a photo whose marks were confirmed."""
    if not is_measured(photo):
        return ""
    return ", no number" if no_number(photo) else ", done"


def _which(work: Work, ids: list[str]) -> str:
    """The photo to show: the one that was asked for, else the first without a result."""
    asked = held(_Next, work.client.id)
    wanted, asked.photo = asked.photo or st.session_state.get(_PHOTO), None
    if wanted in ids:
        return str(wanted)
    return next((photo.id for photo in work.photos if not is_measured(photo)), ids[0])


def is_measured(photo: PhotoRecord) -> bool:
    """True where these marks were measured, with or without a number as the result."""
    return photo.reading is not None or photo.failure is not None


@st.fragment
def _one_photo(work: Work, photo_id: str) -> None:
    """The editor; dragging reruns this part of the page only."""
    with told():
        photo = _current(work, photo_id)
        if photo is None or photo.marks is None:
            return
        placed = _card_is_placed(photo, photo.marks)
        # an upright photo leaves room for the buttons beside it; on a phone they come below
        upright = picture_ratio(photo) < 1
        picture, beside = st.columns([3, 2], gap="large") if upright else (st.container(), st.container())
        with picture:
            photo = _edited(work, photo)
        with beside:
            if placed:
                st.markdown(_PLACED)
            _buttons(work, photo)


def _edited(work: Work, photo: PhotoRecord) -> PhotoRecord:
    """The photo with its marks where the person has put them; moved marks are kept at once."""
    given = photo.marks
    if given is None or given.corners is None or given.width is None or work.tab is None:
        return photo
    read, kept = work.tab.marks.get(photo.id, (given, given))
    edited = edit_marks(
        key=f"marks-{photo.id}",
        url=picture_url(photo, LARGE),
        size=photo.size,
        corners=given.corners,
        path=given.path,
        width=given.width,
        rev=held(_Editor, photo.id).rev,
        label=f"{work.name(photo)} photo",
    )
    marks = replace(given, corners=edited.corners, path=edited.path, width=edited.width)
    if given != kept and marks == read:  # another window moved them, this one did not
        begin_anew(work, photo)
        st.rerun()
    if marks == given:
        work.tab.marks[photo.id] = (marks, marks)
        return photo
    moved = replace(photo, marks=marks, reading=None, failure=None)
    put_photo(work, moved, photo if given == kept else replace(photo, marks=kept))
    work.tab.marks[photo.id] = (marks, marks)
    if given != kept:
        st.rerun()
    return moved


def begin_anew(work: Work, photo: PhotoRecord) -> None:
    """Let the editor of a photo begin with the marks that the draft has."""
    held(_Editor, photo.id).rev += 1
    if work.tab is not None:
        work.tab.marks.pop(photo.id, None)


def _buttons(work: Work, photo: PhotoRecord) -> None:
    """The way on, and what stopped the number if anything did."""
    right = st.button("Looks right", type="primary", key=f"right-{photo.role}")
    searched = photo.marks is not None and is_searched(photo.marks.card_kind)
    if st.button("Find the card again" if searched else "Start the marks again", key=f"again-{photo.role}"):
        _find_again(work, photo)
        begin_anew(work, photo)
        st.rerun()
    if right and photo.marks is not None:
        _confirm(work, photo, photo.marks)
    elif is_measured(photo) and no_number(photo):
        _without_number(work, photo)


def _card_is_placed(photo: PhotoRecord, marks: Marks) -> bool:
    """True where the corners lie on the card by now; else what is to be done before is said."""
    problem = card_problem(photo.id)
    if problem:
        failure(problem)
        return False
    if not is_searched(marks.card_kind) and not is_measured(photo):
        st.markdown(
            "The program cannot find this kind of card by itself. Drag its four corners into place, starting with the "
            "card’s own top left, and check that the line runs from root to tip."
        )
        return False
    return True


def _without_number(work: Work, photo: PhotoRecord) -> None:
    """What stopped the number, and the way on without it."""
    failure(no_number(photo))
    checks(photo)
    if st.button("Go on without a number", key=f"without-{photo.role}"):
        _next(work, photo)


def _find_again(work: Work, photo: PhotoRecord) -> None:
    marks = photo.marks
    if marks is None:
        return
    found = workflow.suggest_marks(work.store, photo, marks.card_kind, marks.reflectance, decoded=OPENED)
    note_card_problem(photo.id, None if found.card is None else found.card.message)
    put_photo(work, replace(photo, marks=found.marks, reading=None, failure=None), photo)


def _confirm(work: Work, photo: PhotoRecord, marks: Marks) -> None:
    """Measure with these marks, once; go on if there is a number."""
    measured = photo
    if not is_measured(photo):
        with st.spinner("Measuring"):
            missing = _card_not_placed(work, photo, marks)
            if missing:
                measured = replace(photo, reading=None, failure=missing)
            else:
                measured = workflow.measure_record(work.store, photo, marks, decoded=OPENED)
        note_card_problem(photo.id, None)
        put_photo(work, measured, photo)
    if no_number(measured):
        st.rerun()
    _next(work, measured)


def _card_not_placed(work: Work, photo: PhotoRecord, marks: Marks) -> str | None:
    """What is wrong if no card was found and the corners were not moved: a wall must not pass for a card."""
    if marks.corners is None:
        return None
    first = workflow.suggest_marks(work.store, photo, marks.card_kind, marks.reflectance, decoded=OPENED)
    if first.marks.corners is None or (is_searched(marks.card_kind) and first.card is None):
        return None
    if polyline.moved(first.marks.corners, marks.corners) > _STILL:
        return None
    problem = None if first.card is None else first.card.message
    return problem or "The card’s corners have not been moved yet. Drag each of the four onto its corner of the card."


def _next(work: Work, photo: PhotoRecord) -> None:
    """The next photo not yet looked at, else the result."""
    # another window may have added photos, and a fragment keeps the arguments of the last full run
    now = replace(work, draft=work.tab.draft if work.tab is not None else work.draft)
    waiting = [other for other in now.photos if other.id != photo.id and not is_measured(other)]
    if waiting:
        held(_Next, work.client.id).photo = waiting[0].id
        moved_on()
        st.rerun()
    go_to_step(work, 2)


def _current(work: Work, photo_id: str) -> PhotoRecord | None:
    """The photo as the draft holds it now: a fragment keeps the arguments of the last full run."""
    if work.draft is None:
        return None
    photos = work.store.drafts.get(work.draft.id).photos
    return next((photo for photo in photos if photo.id == photo_id), None)
