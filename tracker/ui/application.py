"""The app as a whole: what it is made of, and how the program serves it by itself."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, Final

import streamlit as st
from streamlit import config

from tracker.ui import safe_settings, server, start
from tracker.ui.daily import lifespan
from tracker.ui.navigation import show_failure

SCRIPT: Final = Path(start.__file__).with_name("script.py")
"""What Streamlit runs for every page."""

SETTINGS: Final[dict[str, Any]] = {**safe_settings.SAFE, **safe_settings.THEME}
"""All the Streamlit settings that the app uses, so that it needs no settings file."""


def parts() -> dict[str, Any]:
    """What `st.App` is given beside `SCRIPT`; puts the settings in force first."""
    safe_settings.keep_to_this_computer()
    server.keep_uploads_in_memory()
    return {
        "routes": server.routes(),
        "middleware": server.middleware(),
        "on_script_error": show_failure,
        "lifespan": lifespan,
    }


def serve(port: int) -> None:
    """Serve the app quietly at a free port of this computer until the program is interrupted.

    Raises
    ------
    KeyboardInterrupt : it was interrupted, and everything is closed
    SystemExit : it could not be served; the reason is in the log
    """
    quiet = {"server.port": port, "server.headless": True, "logger.hideWelcomeMessage": True}
    for name, value in quiet.items():
        config.set_option(name, value)  # set before the app is made, so that Streamlit sees no change to warn about
    app = st.App(SCRIPT, **parts())
    sys.argv = [str(SCRIPT)]  # Streamlit looks for further settings beside the file that was started
    app.run(config={**SETTINGS, **quiet})
