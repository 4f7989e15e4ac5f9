"""Step 1: the photos, with their light, their card and how they were taken."""

from __future__ import annotations

from functools import partial

import streamlit as st

from tracker import workflow
from tracker.errors import InvalidEntry, TrackerError
from tracker.record.records import BEFORE, PROGRESS, PhotoRecord
from tracker.ui.look import failure
from tracker.ui.look import photo as show_photo
from tracker.ui.navigation import link
from tracker.ui.pages.new_visit.draft_state import (
    Adding,
    Work,
    adding,
    catch_up,
    go_on_without_photos,
    go_to_step,
    keep,
    keep_photos,
    small_picture,
)
from tracker.ui.pages.new_visit.light_and_card import (
    Noted,
    choose_notes,
    choose_the_card,
    follow_card,
    with_card,
)
from tracker.ui.parts.notices import sorry
from tracker.ui.parts.photo_advice import short_photo_advice
from tracker.ui.parts.photo_warnings import warn_of_taking
from tracker.ui.parts.pictures import MEDIUM, photo_words, picture_ratio, picture_url
from tracker.ui.parts.upload import ask_photos, let_go_of
from tracker.words import ROLE_WORDS, noun
from tracker.workflow import ChosenCard
from tracker.workflow.drafts import without_photo
from tracker.workflow.visits import VISIT

MOST = 9
"""Most photos taken of one state: beyond that another one makes next to no difference."""

ENOUGH = 3

_THREE = (
    "Three photos of each are best: comb the hair anew and take the card up again in between. Their mean is surer than "
    "a single photo, and one that went wrong stands out."
)
_SEVERAL = "Several files at once are fine: photos of the same moment are read together."


def show(work: Work) -> None:
    """The step."""
    uploads = st.container()
    card = choose_the_card(work)
    follow_card(work, card)
    if not work.photos:
        with st.expander("How to take a photo that can be measured"):
            short_photo_advice()
            link("photo_guide", "All of it, step by step", client=work.client.id)
    with uploads:
        places = st.columns(len(work.roles), gap="large") if len(work.roles) > 1 else [st.container()]
        for place, role in zip(places, work.roles, strict=True):
            with place:
                notes, shown, below = st.container(), st.container(), st.container()
                with notes:
                    noted = choose_notes(work, role, below)
                with shown:
                    _present(work, role)
                with below:
                    _add_to(work, role, (noted, card))
        _copies(work)
    _onward(work)


def _label(role: str) -> str:
    return "Progress photo" if role == PROGRESS else f"{ROLE_WORDS[role]} photo"


def _add_to(work: Work, role: str, how: tuple[Noted, ChosenCard]) -> None:
    """The place to add photos of one state, as long as more of them tell more."""
    present, label = work.of(role), _label(role)
    if not present or (role != PROGRESS and len(present) < MOST):
        _add(work, role, f"Add another {label.lower()}" if present else label, how)


def _present(work: Work, role: str) -> None:
    """The photos of one state: one large, several beside each other."""
    photos = work.of(role)
    if photos:
        st.markdown(f"**{noun(len(photos), _label(role))}**")
    abreast = 1 if len(photos) == 1 else 2
    for start in range(0, len(photos), abreast):
        for place, photo in zip(st.columns(abreast, wrap=False), photos[start : start + abreast], strict=False):
            with place:
                small = workflow.too_small(photo.size)
                if small is not None:
                    sorry(small)
                show_photo(picture_url(photo, MEDIUM), photo_words(photo), ratio=picture_ratio(photo), eager=True)
                warn_of_taking(photo.warnings)
                first = photo is photos[0]
                word = "Remove this photo" if len(photos) == 1 else f"Remove {1 + photos.index(photo)}"
                if st.button(word, key=f"remove-{photo.role}" if first else f"remove-{photo.id}"):
                    _remove(work, photo)


def _copies(work: Work) -> None:
    """Photos that may be one and the same, to be looked at: a photo saved twice was not measured twice."""
    for one, other in workflow.look_like_copies(work.photos, partial(small_picture, work.store)):
        failure(
            f"{work.name(one)} and {work.name(other).lower()} look like copies of one photo.",
            "If they are, remove one: copies claim a certainty that nobody measured. Repeats count when the hair was "
            "combed and the card taken up again in between.",
        )


def _add(work: Work, role: str, label: str, how: tuple[Noted, ChosenCard]) -> None:
    """The place to add photos; a file that is not a photo does not keep the others out."""
    how_far = adding(work)
    for error in how_far.troubles.pop(role, ()):
        sorry(error)
    turn = how_far.turns.setdefault(role, 0)
    note = "" if role == PROGRESS or work.of(role) else _SEVERAL
    files = ask_photos(label, f"upload-{role}-{turn}", several=role != PROGRESS, raw=True, note=note)
    if not files:
        return
    put: list[str] = []
    try:
        with st.spinner("Reading the photos and looking for card and hair"), how_far.reading:
            if how_far.turns[role] != turn:  # a run that overlaps with this one has taken these files in
                files = []
            taken, troubles = _all_in(work, [file.getvalue() for file in files], role, how, put, how_far)
            if taken:  # all of this or nothing: nothing in here gives Streamlit a chance to interrupt
                keep_photos(work, taken, how_far)
                how_far.turns[role] = turn + 1
                how_far.troubles[role] = troubles
                let_go_of(files)
        if taken or not files:
            catch_up(work.client.id, work.kind)
            st.rerun()
    finally:
        work.store.pictures.let_go(put)  # if the client has withdrawn the agreement meanwhile, or the page was left
    for error in troubles:
        sorry(error)


def _all_in(
    work: Work,
    contents: list[bytes],
    role: str,
    how: tuple[Noted, ChosenCard],
    put: list[str],
    how_far: Adding,
) -> tuple[list[PhotoRecord], list[TrackerError]]:
    """The photos that could be read, and what was wrong with the others; `put` collects the names of all pictures."""
    taken: list[PhotoRecord] = []
    troubles: list[TrackerError] = []
    kept = _kept_elsewhere(work)
    for content in contents:
        try:
            if len(work.of(role)) + len(taken) >= MOST:
                raise InvalidEntry(f"More than {MOST} photos of one state add nothing.", "Leave the others out.")
            noted, card = how
            # the photo itself is let go at once, or it would stay in memory while others have their turn
            record = workflow.take_in(work.store, content, client_id=work.client.id, role=role, light=noted.light)[0]
            put.append(record.file)
            record, how_far.found[record.id] = with_card(work, noted.on(record), card)
            # the same file twice would pass for a repeat and claim a certainty that nobody measured
            if any(other.file == record.file for other in (*work.photos, *taken)):
                raise InvalidEntry(
                    "This photo is already in.",
                    "Take another one: comb the hair and take the card up again in between.",
                )
            if record.file in kept:
                raise InvalidEntry(f"This photo has already been kept: {kept[record.file]}.", "Take a new one.")
        except TrackerError as error:
            troubles.append(error)
        else:
            taken.append(record)
    return taken, troubles


def _kept_elsewhere(work: Work) -> dict[str, str]:
    """The client's pictures from other visits and in between, each with what it is: none may count as new."""
    here = work.draft.visit.id if work.draft is not None and work.draft.visit is not None else None
    photos = work.store.photos.find(client_id=work.client.id)
    return {photo.file: photo_words(photo) for photo in photos if here is None or photo.visit_id != here}


def _remove(work: Work, photo: PhotoRecord) -> None:
    if work.draft is not None:
        keep(work, without_photo(photo.id))
    st.rerun()


def _onward(work: Work) -> None:
    """The ways on; last in the step, so that light and card have been seen."""
    if not work.photos:
        if work.kind == VISIT:
            st.caption("No photo of this visit? You can still note what was done; the visit then has no numbers.")
            if st.button("Go on without photos", key="without-photos"):
                go_on_without_photos(work)
        return
    few = min(len(work.of(role)) for role in work.roles)
    if work.kind != PROGRESS and 0 < few < ENOUGH:
        st.markdown(_THREE)
    if few:
        going = st.button("Next: check the marks", type="primary", key="to-marks")
    else:
        if work.of(BEFORE):
            st.markdown("**Leave now and come back with the after photo: the draft waits under Today.**")
        st.markdown("Before or after alone gives a level and warmth, but no lift: that needs both.")
        going = st.button("Go on without the other", key="to-marks")
    if going:
        go_to_step(work, 1)
