"""After an erasure: the browser is asked to drop the pictures that it kept."""

from __future__ import annotations

from uuid import uuid4

import streamlit as st

from tracker.ui.look import fetch
from tracker.ui.opened import opened

_KEY = "browser-shall-forget"


def forget_on_next_page() -> None:
    """Let go of opened photos, and have the next page ask the browser to drop what it kept of this app."""
    opened().forget()
    st.session_state[_KEY] = True


def ask_to_forget() -> None:
    """Ask now where it is wanted: the answer at that address says so (`server.forgotten`)."""
    if st.session_state.pop(_KEY, False):
        fetch(f"/forgotten/{uuid4().hex}")
