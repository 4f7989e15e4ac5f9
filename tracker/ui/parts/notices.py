"""Failures as sentences near what caused them, and what the previous page had to say."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from tracker.errors import TrackerError
from tracker.ui.look import failure
from tracker.ui.parts.words import plain

_LATER = "said-later"


def sorry(error: TrackerError) -> None:
    """What is wrong and what to do."""
    failure(error.what, error.advice)


@contextmanager
def told() -> Iterator[None]:
    """Run a step of the page; an expected failure is shown as a sentence instead."""
    try:
        yield
    except TrackerError as error:
        sorry(error)


def say_on_next_page(sentence: str) -> None:
    """Keep a sentence for the top of the next page."""
    st.session_state.setdefault(_LATER, []).append(sentence)


def say_what_was_kept() -> None:
    """Show the sentences left by the previous page."""
    for sentence in st.session_state.pop(_LATER, []):
        st.success(plain(sentence))
