"""Charts on the page, light or dark with the theme, with words for those who cannot see them."""

from __future__ import annotations

from typing import Any

import streamlit as st

from tracker.ui.parts.words import plain


def is_dark() -> bool:
    """True where the page is shown on a dark ground."""
    return st.context.theme.type == "dark"


def show_chart(spec: dict[str, Any], words: str, key: str) -> None:
    """One chart across the column, its title above it, where it wraps as the page does.

    Parameters
    ----------
    spec : as the charts of `tracker.charts` give it
    """
    st.markdown(f"**{plain(' '.join(spec['title']['text']))}**")
    spec = {key: value for key, value in spec.items() if key != "title"}
    padding = spec.get("padding", 0)
    if not isinstance(padding, dict):  # Streamlit writes into it, and a plain number breaks its page
        spec = {**spec, "padding": dict.fromkeys(("left", "top", "right", "bottom"), padding)}
    st.vega_lite_chart(spec=spec, width="stretch", theme=None, key=key, alt=words)
