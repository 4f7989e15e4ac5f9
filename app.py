"""The app: ``streamlit run app.py`` serves the pages, the pictures and nothing else."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from tracker.ui import server, start
from tracker.ui.daily import lifespan
from tracker.ui.navigation import show_failure

app = st.App(
    Path(start.__file__).with_name("script.py"),
    routes=server.routes(),
    middleware=server.middleware(),
    on_script_error=show_failure,
    lifespan=lifespan,
)

if __name__ == "__main__":
    app.run()
