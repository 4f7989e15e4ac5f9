"""Charts on the page, in the theme's own lightness, with words for those who cannot see them."""

from __future__ import annotations

from typing import Any

import streamlit as st

from tracker.reading import PhotoReading


def is_dark() -> bool:
    """True where the page is shown on a dark ground."""
    return st.context.theme.type == "dark"


def show_chart(spec: dict[str, Any], words: str, key: str) -> None:
    """One chart across the column."""
    padding = spec.get("padding", 0)
    if not isinstance(padding, dict):  # Streamlit writes into it, a plain number breaks its page
        spec = {**spec, "padding": dict.fromkeys(("left", "top", "right", "bottom"), padding)}
    st.vega_lite_chart(spec=spec, width="stretch", theme=None, key=key, alt=words)


def show_profile(first: PhotoReading, second: PhotoReading | None = None) -> None:
    """Lightness from root to tip, of one photo or of before and after."""
    from tracker.charts import profile_chart

    if not first.profile or (second is not None and not second.profile):
        return
    title = "Lightness from root to tip"
    spec, words = profile_chart(first.profile, second.profile if second is not None else None, is_dark(), title=title)
    show_chart(spec, words, key="profile")
    st.caption("The band around a line holds 95 % of what repeated reading of this photo would give.")
