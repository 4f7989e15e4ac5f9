"""Photos that are measured and not kept: add some, look at the marks of each, get its reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import streamlit as st

from tracker import workflow
from tracker.errors import TrackerError
from tracker.measure.reading import Marks, PhotoReading
from tracker.store import Store
from tracker.ui.components.point_editor import edit_marks
from tracker.ui.look import failure
from tracker.ui.parts.card_choice import choose_card
from tracker.ui.parts.held import held
from tracker.ui.parts.notices import sorry
from tracker.ui.parts.upload import ask_photos, let_go_of
from tracker.ui.passing import hold, let_go, passing_url

NOT_KEPT = (
    "These photos are measured and not kept: they stay in memory until you have looked at their marks, and only their "
    "readings are written down."
)
MOST_AT_ONCE = 12

Keep = Callable[[PhotoReading, str | None], None]
"""Keeps one reading, with the camera that took it if known."""


@dataclass
class _Passing:
    """Photos that wait on one page.

    Attributes
    ----------
    waiting : photos whose marks are still to be looked at
    total : int, how many were added together; 0 before it is known
    turns : int, how often photos were added
    rounds : int, how often all that were added had been looked at
    said : str or None, why the first one that waits has no reading
    """

    waiting: list[workflow.PassingPhoto] = field(default_factory=list)
    total: int = 0
    turns: int = 0
    rounds: int = 0
    said: str | None = None


def passing_photos(store: Store, key: str, label: str, keep: Keep) -> bool:
    """The place to add photos, then the marks of each in turn.

    Parameters
    ----------
    key : str, one per page
    label : str, of the place to add photos
    keep : called with each reading and its camera; a `TrackerError` from it is said beside the photo

    Returns
    -------
    bool : True while a photo waits to be looked at
    """
    passing = held(_Passing, key)
    if not passing.waiting:
        _add(key, label, passing)
        return False
    waiting = len(passing.waiting)
    total = passing.total or waiting
    st.markdown(f"**Photo {total - waiting + 1} of {total}**")
    _look_at(store, key, passing, keep)
    return True


def round_of(key: str) -> int:
    """How often photos were added and looked at: put it into the keys of fields that must not outlive their photos."""
    return held(_Passing, key).rounds


def _add(key: str, label: str, passing: _Passing) -> None:
    kind, reflectance = choose_card(key)
    uploads = ask_photos(label, f"{key}-upload-{passing.turns}")
    st.caption(NOT_KEPT)
    if not uploads:
        return
    troubles = []
    with st.spinner("Reading the photos and looking for the card"):
        for upload in uploads[:MOST_AT_ONCE]:
            try:
                photo = workflow.look_at(upload.getvalue(), kind, reflectance)
            except TrackerError as error:
                troubles.append(error)
                continue
            passing.waiting.append(photo)
            hold(photo)
    for trouble in troubles:
        sorry(trouble)
    if len(uploads) > MOST_AT_ONCE:
        failure(f"Only the first {MOST_AT_ONCE} photos are taken.", "Add the others after these.")
    if passing.waiting:
        passing.turns += 1  # a new place to add
        let_go_of(uploads)
        passing.total = len(passing.waiting)
        if not troubles:
            st.rerun()
        st.button("Go on with the others", key=f"{key}-go-on")


@st.fragment
def _look_at(store: Store, key: str, passing: _Passing, keep: Keep) -> None:
    """The editor of the first photo that waits; dragging reruns this part of the page only."""
    if not passing.waiting:
        return
    photo = passing.waiting[0]
    said = passing.said or _problem(photo)
    if said:
        failure(said)
    else:
        st.markdown("The four corners should lie on the card’s corners, and the line should run along the hair.")
    upright = photo.size[0] < photo.size[1]
    picture, beside = st.columns([3, 2], gap="large") if upright else (st.container(), st.container())
    with picture:
        marks = _edited(photo)
    with beside:
        if st.button("Looks right", type="primary", key=f"{key}-right"):
            _measure(store, passing, marks, keep)
        if st.button("Leave this photo out", key=f"{key}-skip"):
            _done(passing)


def _problem(photo: workflow.PassingPhoto) -> str | None:
    return None if photo.found.card is None else photo.found.card.message


def _edited(photo: workflow.PassingPhoto) -> Marks:
    marks = photo.found.marks
    if marks.corners is None or marks.width is None:
        return marks
    hold(photo)
    edited = edit_marks(
        key=f"passing-{photo.id}",
        url=passing_url(photo),
        size=photo.size,
        corners=marks.corners,
        path=marks.path,
        width=marks.width,
        label="Photo that is not kept",
    )
    return replace(marks, corners=edited.corners, path=edited.path, width=edited.width)


def _measure(
    store: Store,
    passing: _Passing,
    marks: Marks,
    keep: Keep,
) -> None:
    photo = passing.waiting[0]
    untouched = marks == photo.found.marks
    with st.spinner("Measuring"):
        problem = _problem(photo)
        if problem and untouched:
            reading, why = None, problem
        else:
            reading, why = workflow.measure_passing(store, photo, marks)
    if reading is not None:
        try:
            keep(reading, photo.camera)
        except TrackerError as error:
            why = error.message
        else:
            _done(passing)
    passing.said = why
    st.rerun()


def _done(passing: _Passing) -> None:
    """On to the next photo; this one is forgotten."""
    passing.said = None
    let_go(passing.waiting.pop(0).id)
    if not passing.waiting:
        passing.rounds += 1
    st.rerun()
