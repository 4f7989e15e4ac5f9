"""How to take a photo that can be measured: reached from New visit and from Studio."""

from __future__ import annotations

import streamlit as st

from tracker.ui.navigation import link
from tracker.ui.parts.opening import begin
from tracker.ui.parts.photo_advice import photo_advice
from tracker.ui.session import asked_for


def page() -> None:
    """The page."""
    begin()
    st.title("How to take a photo that can be measured", anchor=False)
    photo_advice()
    draft, client = asked_for("draft"), asked_for("client")
    if draft is not None:
        link("new_visit", "Back to the photos", draft=draft)
    elif client is not None:
        link("new_visit", "Back to the photos", client=client)
    else:
        link("studio", "To the Studio page")
