"""What every page begins with: the style of the shared parts, its top, and what the previous page had to say."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import streamlit as st

from tracker.ui.parts.focus import begin_at_the_top
from tracker.ui.parts.forgetting import ask_to_forget
from tracker.ui.parts.held import held
from tracker.ui.parts.notices import say_what_was_kept
from tracker.ui.parts.undo import offer_undo


@dataclass
class _Open:
    """Which draft this window shows; another page forgets it."""

    draft: str | None = None


def begin(*, undo: bool = True) -> None:
    """Call at the top of a page; one that is shown to clients says nothing of what was deleted (`undo` False)."""
    held(_Open).draft = None
    st.html(f"<style>{_style()}</style>")
    begin_at_the_top()
    ask_to_forget()
    say_what_was_kept()
    if undo:
        offer_undo()


def draft_open() -> str | None:
    """Which draft the page showed in the last run; ask before `begin`."""
    return held(_Open).draft


def note_draft_open(draft_id: str) -> None:
    """Note that the page shows this draft now."""
    held(_Open).draft = draft_id


@cache
def _style() -> str:
    return (Path(__file__).parent / "lines.css").read_text("utf-8")
