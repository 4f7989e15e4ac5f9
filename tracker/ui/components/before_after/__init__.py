"""Two pictures of the same hair on top of each other, with a divider to slide."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

_HERE = Path(__file__).parent

_mount = st.components.v2.component(
    "tracker_before_after",
    html=(_HERE / "slider.html").read_text("utf-8"),
    css=(_HERE / "slider.css").read_text("utf-8"),
    js=(_HERE / "slider.js").read_text("utf-8"),
)


def before_after(
    *,
    key: str,
    before_url: str,
    after_url: str,
    ratio: float,
    before_alt: str,
    after_alt: str,
    note: str,
) -> None:
    """Show the pair with the divider in the middle; sliding it never reruns the page.

    Parameters
    ----------
    key : str
    before_url, after_url : str, addresses of the two pictures; they may differ in shape
    ratio : float, width over height of the frame; pictures of another shape are shown whole on mid-grey
    before_alt, after_alt : str, what the pictures show, for those who cannot see them
    note : str, one line under the pair, such as that both are balanced to the same light
    """
    _mount(
        key=key,
        data={
            "before": {"url": before_url, "label": "Before", "alt": before_alt},
            "after": {"url": after_url, "label": "After", "alt": after_alt},
            "ratio": min(max(float(ratio), 0.4), 2.5),
            "note": note,
        },
    )
