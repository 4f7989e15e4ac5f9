"""A field for the day of something that has happened."""

from __future__ import annotations

from datetime import date

import streamlit as st

# Streamlit goes on with the old day, without a word, where a typed one lies outside these; a day still to come is
# refused in words when it is to be kept
_FIRST, _LAST = date(1900, 1, 1), date(9999, 12, 31)


def day_field(label: str, value: date, key: str) -> date:
    """The day as the field reads now; `value` where it was emptied."""
    chosen = st.date_input(label, value=value, min_value=_FIRST, max_value=_LAST, format="DD/MM/YYYY", key=key)
    return chosen if isinstance(chosen, date) else value
