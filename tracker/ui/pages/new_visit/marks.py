"""Step 2: the card's corners and the outline of the hair, already placed, to be looked at and corrected."""

from __future__ import annotations

from dataclasses import dataclass, replace

import streamlit as st

from tracker import workflow
from tracker.errors import CardError
from tracker.measure import Suggestion
from tracker.measure.reading import WHOLE, Marks, Point
from tracker.measure.reference_card import Corners
from tracker.record.records import PhotoRecord
from tracker.ui.look import failure
from tracker.ui.opened import OPENED
from tracker.ui.pages.new_visit.draft_state import Work, go_to_step, keep, put_photo
from tracker.ui.pages.new_visit.earlier_marks import along_a_ribbon
from tracker.ui.parts.focus import moved_on
from tracker.ui.parts.held import held
from tracker.ui.parts.marked_card import Looking, card_fault, other_kind
from tracker.ui.parts.marking import (
    after_taps,
    begin_anew,
    edited,
    first_look,
    look_again,
    looks_right,
    note_card_found,
    was_looked_at,
)
from tracker.ui.parts.notices import told
from tracker.ui.parts.pictures import LARGE, picture_ratio, picture_url
from tracker.ui.parts.reading_view import checks, no_number
from tracker.workflow import ChosenCard
from tracker.workflow.drafts import with_changed_photos

_PHOTO = "marks-photo"
"""Key of the field that says which photo is shown."""


@dataclass
class _Next:
    """Which photo of a client is to be shown next."""

    photo: str | None = None


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
        if photo.marks.hair != WHOLE:
            if along_a_ribbon(work, photo):
                _next(work, photo)
            return
        if not is_measured(photo) and not was_looked_at(photo.id):
            marks = first_look(photo.id, photo.marks, _looking(work, photo))
            if marks != photo.marks:
                _take(work, photo, marks)
        # an upright photo leaves room for the buttons beside it; on a phone they come below
        upright = picture_ratio(photo) < 1
        picture, beside = st.columns([3, 2], gap="large") if upright else (st.container(), st.container())
        with picture:
            photo = _edited(work, photo)
        with beside:
            _beside(work, photo)


def _edited(work: Work, photo: PhotoRecord) -> PhotoRecord:
    """The photo with its marks where the person has put them; moved marks are kept at once."""
    given = photo.marks
    if given is None or work.tab is None:
        return photo
    read, kept = work.tab.marks.get(photo.id, (given, given))
    marks = edited(
        photo.id,
        given,
        key=f"marks-{photo.id}",
        url=picture_url(photo, LARGE),
        size=photo.size,
        label=f"{work.name(photo)} photo",
    )
    if given != kept and marks == read:  # another window moved them, this one did not
        begin_editor_anew(work, photo)
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


def begin_editor_anew(work: Work, photo: PhotoRecord) -> None:
    """Let the editor of a photo begin with the marks that the draft has."""
    begin_anew(photo.id)
    if work.tab is not None:
        work.tab.marks.pop(photo.id, None)


def _looking(work: Work, photo: PhotoRecord) -> Looking:
    """How card and hair are looked for in a photo, and the card's place is checked."""

    def look(
        corners: Corners | None = None, path: tuple[Point, ...] | None = None, near: Point | None = None
    ) -> Suggestion:
        if photo.marks is None:
            raise AssertionError("a photo in a draft has marks")
        card = ChosenCard.of(photo.marks)
        return workflow.suggest_marks(
            work.store,
            photo,
            card.kind,
            card.reflectance,
            corners=corners,
            path=path,
            near=near,
            decoded=OPENED,
            dark=card.dark,
        )

    def fault(marks: Marks) -> CardError | None:
        return workflow.card_fault(work.store, photo, marks, decoded=OPENED)

    return Looking(look, fault)


def _use_kind(work: Work, kind: str) -> None:
    """Let all photos have another kind of card, as if it had been chosen with the photos; the hair stays."""
    changed = []
    with st.spinner("Looking for the card"):
        for photo in work.photos:
            found = workflow.suggest_marks(
                work.store, photo, kind, decoded=OPENED, dark=workflow.dark_half(work.store, kind)
            )
            note_card_found(photo.id, found)
            hair = photo.marks if photo.marks is not None and photo.marks.outline is not None else found.marks
            marks = replace(found.marks, outline=hair.outline, path=hair.path)
            changed.append(replace(photo, marks=marks, reading=None, failure=None))
    keep(work, with_changed_photos(work.photos, changed))
    if work.tab is not None:
        work.tab.chosen.pop("card", None)
        work.tab.turns["card"] += 1  # the field of the first step begins afresh, with this kind
    for photo in work.photos:
        begin_editor_anew(work, photo)
    st.rerun()


def _take(work: Work, photo: PhotoRecord, marks: Marks) -> None:
    """Let the photo have these marks, which a search or a button has placed, and show them."""
    if marks != photo.marks:
        put_photo(work, replace(photo, marks=marks, reading=None, failure=None), photo)
    begin_editor_anew(work, photo)
    st.rerun()


def _beside(work: Work, photo: PhotoRecord) -> None:
    """What to look at, the way on, the ways to look again, and what stopped the number if anything did."""
    marks = photo.marks
    if marks is None:
        return
    looking = _looking(work, photo)
    anew = after_taps(photo.id, marks, looking)
    if anew is None:
        right = looks_right(photo.id, marks, looking, measured=is_measured(photo), key=f"right-{photo.role}")
        anew = look_again(photo.id, marks, looking, photo.size, key=photo.role)
        kind = other_kind(photo.id, marks, key=photo.role)
        if kind is not None:
            _use_kind(work, kind)
        if right:
            _confirm(work, photo, marks)
    if anew is not None:
        _take(work, photo, anew)
    if is_measured(photo) and no_number(photo):
        _without_number(work, photo)
        return
    fault = card_fault(photo.id, marks, looking)
    if fault is not None and st.button("Go on without a number", key=f"without-{photo.role}"):
        given_up = replace(photo, reading=None, failure=fault.message)
        put_photo(work, given_up, photo)
        _next(work, given_up)


def _without_number(work: Work, photo: PhotoRecord) -> None:
    """What stopped the number, and the way on without it."""
    failure(no_number(photo))
    checks(photo)
    if st.button("Go on without a number", key=f"without-{photo.role}"):
        _next(work, photo)


def _confirm(work: Work, photo: PhotoRecord, marks: Marks) -> None:
    """Measure with these marks, once; go on if there is a number."""
    measured = photo
    if not is_measured(photo):
        with st.spinner("Measuring"):
            measured = workflow.measure_record(work.store, photo, marks, decoded=OPENED)
        put_photo(work, measured, photo)
    if no_number(measured):
        st.rerun()
    _next(work, measured)


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
