"""The person's browser, where there is a screen to show it on."""

from __future__ import annotations

import os
import sys
import webbrowser

from tracker.cli.terminal import say


def show(address: str, wanted: bool) -> None:
    """Open an address in the browser, or say that the person has to do it."""
    if not (wanted and has_screen() and webbrowser.open(address)):
        say("Open this address in a browser on this computer.")


def has_screen() -> bool:
    """Whether a window can be opened: without one, Python would start a text browser in the terminal itself."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
