"""Fields that several pages have: the day of something that has happened, and a part of the hair."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import streamlit as st

from tracker.measure.reading import REGIONS
from tracker.words import REGION_TITLES

# Streamlit silently keeps the old day if a typed one is outside these; a day in the future is refused, with a sentence,
# when it is to be kept
_FIRST, _LAST = date(1900, 1, 1), date(9999, 12, 31)


def day_field(label: str, value: date, key: str) -> date:
    """The day as the field now reads; `value` if it was emptied."""
    chosen = st.date_input(label, value=value, min_value=_FIRST, max_value=_LAST, format="DD/MM/YYYY", key=key)
    return chosen if isinstance(chosen, date) else value


def region_field(label: str, default: str, key: str, regions: Sequence[str] = REGIONS) -> str:
    """The part of the hair, one of `regions`, as the field now reads."""
    chosen = st.segmented_control(
        label, regions, default=default, format_func=REGION_TITLES.__getitem__, required=True, key=key
    )
    return chosen or default
