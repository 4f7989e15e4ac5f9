"""Failures as sentences near what caused them, and what the previous page had to say."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import streamlit as st

from tracker.errors import TrackerError
from tracker.ui.look import failure
from tracker.ui.parts.held import held
from tracker.ui.parts.words import plain
from tracker.words import count


@dataclass
class _Later:
    """Sentences for the page that is opened next."""

    sentences: list[str] = field(default_factory=list)


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


def still_worked_out(left: int, what: str) -> None:
    """Say how many of something are still being worked out beside the page; nothing where none is."""
    if left:
        st.caption(plain(f"Still being worked out: {count(left, what)}. Look again in a moment."))


def say_on_next_page(sentence: str) -> None:
    """Keep a sentence for the top of the page that is opened next."""
    held(_Later).sentences.append(sentence)


def say_what_was_kept() -> None:
    """Show the sentences that the page before left."""
    later = held(_Later)
    sentences, later.sentences = later.sentences, []
    for sentence in sentences:
        st.success(plain(sentence))
