"""Long lists: how many entries are shown, and the button that asks for more."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from tracker.ui.parts.held import held


@dataclass
class _Asked:
    """How many entries beyond the first ones were asked for."""

    more: int = 0


def shown(first: int, *of: str) -> int:
    """How many entries of a list are shown; `of` tells the lists apart, as for `held`."""
    return first + held(_Asked, *of).more


def ask_for_more(label: str, step: int, *of: str) -> None:
    """The button that shows so many more."""
    if st.button(label, key=" ".join(("more", *of))):
        held(_Asked, *of).more += step
        st.rerun()
