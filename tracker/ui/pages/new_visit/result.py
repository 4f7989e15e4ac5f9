"""Step 3: what was measured, as a sentence first."""

from __future__ import annotations

from functools import partial

import streamlit as st

from tracker.compare.photo_set import State
from tracker.record.records import AFTER, BEFORE, PROGRESS
from tracker.ui.pages.new_visit.draft_state import LAST_STEP, Work, go_to_step, put_photo
from tracker.ui.parts.change_view import show_pair
from tracker.ui.parts.details import pair_details, photo_details
from tracker.ui.parts.pair import compare_states, state_in_force
from tracker.ui.parts.photo_warnings import warn_before_saving
from tracker.ui.parts.reading_view import level_words, measured_photo, no_number, reading_swatches
from tracker.ui.parts.repeats import odd_notes, repeats
from tracker.ui.parts.words import plain
from tracker.words import REGION_TITLES, ROLE_WORDS


def show(work: Work) -> None:
    """The step."""
    before, after = state_in_force(work.photos, BEFORE), state_in_force(work.photos, AFTER)
    alone = before or after or state_in_force(work.photos, PROGRESS)
    if before is not None and after is not None:
        _pair(work, before, after)
    elif alone is not None:
        _single(work, alone)
    else:
        go_to_step(work, 0)
    warn_before_saving(work.store, work.photos)
    with st.bottom, st.container(key="next-step", horizontal=True):
        if st.button("Next: save", type="primary", key="to-save"):
            go_to_step(work, LAST_STEP)
        if st.button("Correct the marks", key="to-marks"):
            go_to_step(work, 1)


def _pair(work: Work, before: State, after: State) -> None:
    pair = compare_states(before, after, work.draft.visit if work.draft is not None else None)
    odd_notes(before, after)
    show_pair(pair, key="result-slider")
    for state in (before, after):
        photo = state.standing
        if no_number(photo):
            st.markdown(f"{ROLE_WORDS[photo.role]} photo. {plain(no_number(photo))}")
        repeats(state, partial(put_photo, work))
    pair_details(pair)


def _single(work: Work, state: State) -> None:
    photo = state.standing
    missing = no_number(photo)
    if missing:
        st.subheader(plain(missing), anchor=False)
    elif photo.reading is not None:
        regions = [f"{REGION_TITLES[region.name]} {level_words(region, photo)}" for region in photo.reading.regions]
        st.subheader(f"{', '.join(regions)}.", anchor=False)
    if work.kind != PROGRESS:
        other = "an after" if photo.role == BEFORE else "a before"
        st.markdown(f"Without {other} photo there is no lift. Add one to get it.")
    measured_photo(photo)
    reading_swatches(photo)
    repeats(state, partial(put_photo, work))
    photo_details(photo)
