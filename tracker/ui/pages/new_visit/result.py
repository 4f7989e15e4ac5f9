"""Step 3: what was measured, as a sentence first."""

from __future__ import annotations

import streamlit as st

from tracker.records import AFTER, BEFORE, PROGRESS, PhotoRecord
from tracker.ui.pages.new_visit.draft_state import Work, go_to_step
from tracker.ui.parts.change_view import show_pair
from tracker.ui.parts.details import pair_details, photo_details
from tracker.ui.parts.pair import compare_photos
from tracker.ui.parts.reading_view import level_words, measured_photo, no_number, reading_swatches
from tracker.ui.parts.words import REGION_WORDS, ROLE_WORDS, plain


def show(work: Work) -> None:
    """The step."""
    before, after = work.photo(BEFORE), work.photo(AFTER)
    if before is not None and after is not None:
        _pair(before, after)
    elif work.photos:
        _single(work, work.photos[0])
    else:
        go_to_step(work, 0)
    with st.container(horizontal=True):
        if st.button("Next: save", type="primary", key="to-save"):
            go_to_step(work, 3)
        if st.button("Correct the marks", key="to-marks"):
            go_to_step(work, 1)


def _pair(before: PhotoRecord, after: PhotoRecord) -> None:
    pair = compare_photos(before, after)
    show_pair(pair, key="result-slider", sentence_first=True)
    for photo in (before, after):
        if no_number(photo):
            st.markdown(f"{ROLE_WORDS[photo.role]} photo. {plain(no_number(photo))}")
    pair_details(pair)


def _single(work: Work, photo: PhotoRecord) -> None:
    missing = no_number(photo)
    if missing:
        st.subheader(plain(missing), anchor=False)
    elif photo.reading is not None:
        regions = [f"{REGION_WORDS[region.name]} {level_words(region)}" for region in photo.reading.regions]
        st.subheader(f"{', '.join(regions)}.", anchor=False)
    if work.kind != PROGRESS:
        other = "after" if photo.role == BEFORE else "before"
        st.markdown(f"One photo, so no lift can be given. Add the {other} photo to get it.")
    measured_photo(photo)
    reading_swatches(photo)
    photo_details(photo)
