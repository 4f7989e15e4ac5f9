"""Charts on the page, in the theme's own lightness, with words for those who cannot see them."""

from __future__ import annotations

from typing import Any

import streamlit as st


def is_dark() -> bool:
    """True where the page is shown on a dark ground."""
    return st.context.theme.type == "dark"


def show_chart(spec: dict[str, Any], words: str, key: str) -> None:
    """One chart across the column."""
    padding = spec.get("padding", 0)
    if not isinstance(padding, dict):  # Streamlit writes into it, a plain number breaks its page
        spec = {**spec, "padding": dict.fromkeys(("left", "top", "right", "bottom"), padding)}
    st.vega_lite_chart(spec=spec, width="stretch", theme=None, key=key, alt=words)
