"""The app in a checkout: ``streamlit run app.py`` serves the pages, the pictures and nothing else."""

from __future__ import annotations

import streamlit as st

from tracker.ui.application import SCRIPT, SETTINGS, parts

app = st.App(SCRIPT, **parts())  # Streamlit looks for this very line in this file

if __name__ == "__main__":
    app.run(config=SETTINGS)
