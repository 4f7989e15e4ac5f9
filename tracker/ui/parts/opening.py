"""What every page begins with: the style of the shared parts, its top, and what the previous page had to say."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import streamlit as st

from tracker.ui.parts.focus import begin_at_the_top
from tracker.ui.parts.forgetting import ask_to_forget
from tracker.ui.parts.notices import say_what_was_kept
from tracker.ui.parts.undo import offer_undo

OPEN_DRAFT = "draft-open"
"""Which draft the page showed before this run; any other page forgets it."""


def begin(*, undo: bool = True) -> None:
    """Call at the top of a page; a page shown to clients says nothing of deletions (`undo` False)."""
    st.session_state.pop(OPEN_DRAFT, None)
    st.html(f"<style>{_style()}</style>")
    begin_at_the_top()
    ask_to_forget()
    say_what_was_kept()
    if undo:
        offer_undo()


@cache
def _style() -> str:
    return (Path(__file__).parent / "lines.css").read_text("utf-8")
