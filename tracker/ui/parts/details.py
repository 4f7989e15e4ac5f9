"""The details under a result: the profile from root to tip, the checks, how it was measured."""

from __future__ import annotations

import streamlit as st

from tracker.compare.comparison import RegionChange
from tracker.record.records import PhotoRecord
from tracker.ui.look import check_list
from tracker.ui.parts.how import YARDSTICK, how_it_was_measured
from tracker.ui.parts.pair import Pair
from tracker.ui.parts.reading_view import checks, measured_photo
from tracker.ui.parts.seeing import change_charts, photo_charts
from tracker.words import REGION_TITLES


def pair_details(pair: Pair, *, to_others: bool = False) -> None:
    """The charts, what was measured on both photos, the checks and the method.

    Parameters
    ----------
    to_others : bool, True where somebody other than the client sees it: what to do better is left out
    """
    change_charts(pair, to_others=to_others)
    with st.expander("What was measured"):
        for word, photo in (("Before", pair.before), ("After", pair.after)):
            st.markdown(f"**{word}**")
            measured_photo(photo)
            if not to_others:
                checks(photo)
    sizes = [f"{REGION_TITLES[change.name]}: {_size(change)}" for change in pair.changes]
    extra = (f"Size of the change as a colour difference (ΔE00). {'; '.join(sizes)}. {YARDSTICK}",) if sizes else ()
    how_it_was_measured(*pair.readings, extra=extra)


def photo_details(photo: PhotoRecord) -> None:
    """The same for one photo; checks that simply passed are folded away."""
    if photo.reading is not None:
        telling = [check for check in photo.reading.checks if not check.ok or check.advice]
        if telling:
            check_list(telling)
        if photo.reading.ok:
            photo_charts(photo)
        with st.expander("What was checked"):
            checks(photo)
        how_it_was_measured(photo.reading)


def _size(change: RegionChange) -> str:
    size = change.change.size
    return f"{size.value:.1f} ({size.low:.1f} to {size.high:.1f})"
