"""Photos that are measured and not kept: add some, look at the marks of each, get its reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import streamlit as st

from tracker import workflow
from tracker.errors import TrackerError
from tracker.measure.reading import Marks, PhotoReading
from tracker.store import Store
from tracker.ui.look import failure
from tracker.ui.parts.card_choice import choose_card, choose_card_stood
from tracker.ui.parts.held import held
from tracker.ui.parts.marked_card import Looking, other_kind
from tracker.ui.parts.marking import (
    after_taps,
    begin_anew,
    edited,
    forget_marking,
    look_again,
    looks_right,
    note_card_found,
    note_found,
)
from tracker.ui.parts.notices import sorry
from tracker.ui.parts.photo_warnings import warn_of_taking
from tracker.ui.parts.upload import ask_photos, let_go_of
from tracker.ui.passing import hold, let_go, passing_url

NOT_KEPT = (
    "These photos are measured and not kept: they stay in memory until you have looked at their marks, and only their "
    "readings are written down."
)
MOST_AT_ONCE = 12
_HOW_THE_CARD = "Card in these photos"

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
    marks : Marks or None, of the first one that waits; None while they are as they were found
    stood : bool or None, whether the card stood in the photos added last; None where not noted
    """

    waiting: list[workflow.PassingPhoto] = field(default_factory=list)
    total: int = 0
    turns: int = 0
    rounds: int = 0
    said: str | None = None
    marks: Marks | None = None
    stood: bool | None = None


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
        _add(store, key, label, passing)
        return False
    waiting = len(passing.waiting)
    total = passing.total or waiting
    st.markdown(f"**Photo {total - waiting + 1} of {total}**")
    _look_at(store, key, passing, keep)
    return True


def round_of(key: str) -> int:
    """How often photos were added and looked at: put it into the keys of fields that must not outlive their photos."""
    return held(_Passing, key).rounds


def _add(store: Store, key: str, label: str, passing: _Passing) -> None:
    card = choose_card(key, partial(workflow.dark_half, store))
    likely = workflow.card_stood_last(store) if passing.stood is None else passing.stood
    stood = choose_card_stood(f"{key}-card-stood", likely, _HOW_THE_CARD)
    uploads = ask_photos(label, f"{key}-upload-{passing.turns}")
    st.caption(NOT_KEPT)
    if not uploads:
        return
    troubles = []
    with st.spinner("Reading the photos and looking for card and hair"):
        for upload in uploads[:MOST_AT_ONCE]:
            try:
                photo = workflow.look_at(
                    upload.getvalue(), card.kind, card.reflectance, card_stood=stood, dark=card.dark
                )
            except TrackerError as error:
                troubles.append(error)
                continue
            passing.waiting.append(photo)
            note_found(photo.id, photo.found)
            hold(photo)
    for trouble in troubles:
        sorry(trouble)
    if len(uploads) > MOST_AT_ONCE:
        failure(f"Only the first {MOST_AT_ONCE} photos are taken.", "Add the others after these.")
    if passing.waiting:
        passing.turns += 1  # a new place to add
        let_go_of(uploads)
        passing.total, passing.stood = len(passing.waiting), stood
        if not troubles:
            st.rerun()
        st.button("Go on with the others", key=f"{key}-go-on")


@st.fragment
def _look_at(store: Store, key: str, passing: _Passing, keep: Keep) -> None:
    """The editor of the first photo that waits; dragging reruns this part of the page only."""
    if not passing.waiting:
        return
    photo = passing.waiting[0]
    hold(photo)
    upright = photo.size[0] < photo.size[1]
    picture, beside = st.columns([3, 2], gap="large") if upright else (st.container(), st.container())
    with picture:
        marks = edited(
            photo.id,
            passing.marks or photo.found.marks,
            key=f"passing-{photo.id}",
            url=passing_url(photo),
            size=photo.size,
            label="Photo that is not kept",
        )
    if marks != passing.marks:
        passing.said = None
    passing.marks = marks
    with beside:
        warn_of_taking(photo.warnings)
        _beside(store, key, passing, keep)


def _beside(store: Store, key: str, passing: _Passing, keep: Keep) -> None:
    """What to look at, the way on, and the ways to look again."""
    photo, marks = passing.waiting[0], passing.marks
    if marks is None:
        return
    looking = Looking(
        partial(workflow.look_again_at, photo, marks),
        partial(workflow.passing_card_fault, photo),
    )
    anew = after_taps(photo.id, marks, looking)
    if anew is None:
        if passing.said:
            failure(passing.said)
        right = looks_right(photo.id, marks, looking, measured=passing.said is not None, key=f"{key}-right")
        anew = look_again(photo.id, marks, looking, photo.size, key=key)
        kind = other_kind(photo.id, marks, key=key)
        if kind is not None:
            anew = _with_kind(photo, marks, kind)
        if right:
            _measure(store, passing, photo, marks, keep)
    if anew is not None:
        passing.said = None
        passing.marks = anew
        begin_anew(photo.id)
        st.rerun()
    if st.button("Leave this photo out", key=f"{key}-skip"):
        _done(passing)


def _with_kind(photo: workflow.PassingPhoto, marks: Marks, kind: str) -> Marks:
    """The marks with another kind of card, which is looked for; the hair stays."""
    with st.spinner("Looking for the card"):
        found = workflow.look_again_at(photo, Marks(kind, None, (), None))
    note_card_found(photo.id, found)
    hair = marks if marks.outline is not None else found.marks
    return replace(found.marks, outline=hair.outline, path=hair.path)


def _measure(store: Store, passing: _Passing, photo: workflow.PassingPhoto, marks: Marks, keep: Keep) -> None:
    with st.spinner("Measuring"):
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
    passing.said = passing.marks = None
    photo = passing.waiting.pop(0)
    let_go(photo.id)
    forget_marking(photo.id)
    if not passing.waiting:
        passing.rounds += 1
    st.rerun()
