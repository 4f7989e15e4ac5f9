"""Loading and removing the made-up studio."""

from __future__ import annotations

import streamlit as st

from tracker import workflow
from tracker.store import Store
from tracker.ui.parts.notices import say_on_next_page, told


def demo_button(store: Store, label: str, key: str) -> None:
    """One click fills the studio with made-up clients, with a bar that shows how far it is."""
    if not st.button(label, key=key):
        return
    bar = st.progress(0.0, text="Loading the demo studio")
    with told():
        workflow.load_demo(store, progress=bar.progress)
        say_on_next_page("The demo studio is loaded.")
        st.rerun()
