"""Hears of erasures in any other tab or browser, and has the page drawn anew."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

_mount = st.components.v2.component(
    "tracker_erasures", js=(Path(__file__).parent / "listener.js").read_text("utf-8"), html="<span></span>"
)


def hear_of_erasures(number: int, tab: str) -> None:
    """Draw the page anew when there were more erasures than those that it is drawn with.

    Parameters
    ----------
    number : int, erasures that this drawing of the page knows of
    tab : str, what this tab is called: an erasure that it asked for is no news to it
    """
    _mount(key="erasures", data={"number": number, "tab": tab}, on_erased_change=lambda: None)
