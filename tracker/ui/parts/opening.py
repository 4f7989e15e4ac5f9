"""What every page begins with: the style of the shared parts, and what the page before had to say."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import streamlit as st

from tracker.ui.parts.notices import say_what_was_kept


def begin() -> None:
    """Call at the top of a page."""
    st.html(f"<style>{_style()}</style>")
    say_what_was_kept()


@cache
def _style() -> str:
    return (Path(__file__).parent / "lines.css").read_text("utf-8")
