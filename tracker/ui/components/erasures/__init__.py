"""Hears of erasures in any other tab or browser, and has the page redrawn."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

_mount = st.components.v2.component(
    "tracker_erasures", js=(Path(__file__).parent / "listener.js").read_text("utf-8"), html="<span></span>"
)


def hear_of_erasures(number: int, tab: str) -> None:
    """Redraw the page when there have been more erasures than it was drawn with.

    Parameters
    ----------
    number : int, erasures that the page as drawn knows of
    tab : str, what this tab is called: an erasure it asked for itself is no news to it
    """
    _mount(key="erasures", data={"number": number, "tab": tab}, on_erased_change=lambda: None)
