"""The app: ``streamlit run app.py`` serves the pages, the pictures and nothing else."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from tracker.ui import safe_settings, server, start
from tracker.ui.daily import lifespan
from tracker.ui.navigation import show_failure

safe_settings.keep_to_this_computer()
server.keep_uploads_in_memory()

app = st.App(
    Path(start.__file__).with_name("script.py"),
    routes=server.routes(),
    middleware=server.middleware(),
    on_script_error=show_failure,
    lifespan=lifespan,
)

if __name__ == "__main__":
    app.run(config=safe_settings.SAFE)
