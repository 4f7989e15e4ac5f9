"""The settings that keep the record on this computer, set here: no lost or foreign settings file can undo them.

`streamlit run` reads its settings and begins to listen before it loads the app. If it listens more widely than it may,
the app closes that door before letting anybody in, and starts again with the settings below.
"""

from __future__ import annotations

import gc
import logging
import os
import socket
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, Never

from streamlit import config

from tracker.ui.gatekeeper import NAMES, is_this_computer
from tracker.ui.parts.upload import LARGEST_RAW_MB

SAFE: Final[dict[str, bool | int | float | str | list[str]]] = {
    "browser.gatherUsageStats": False,
    "browser.serverAddress": "127.0.0.1",
    "client.showErrorDetails": "none",
    "client.showErrorLinks": False,
    "client.toolbarMode": "minimal",
    # runs that overtake one another make the browser look for a kept message that it does not have: the page then stops
    "global.minCachedMessageSize": 1e12,
    "server.address": "127.0.0.1",
    "server.allowedHosts": [name.strip("[]") for name in NAMES],
    "server.enableCORS": True,
    "server.enableStaticServing": False,
    "server.enableXsrfProtection": True,
    "server.fileWatcherType": "none",
    "server.maxUploadSize": LARGEST_RAW_MB,
    "server.showEmailPrompt": False,
}
"""The same are in ``.streamlit/config.toml``, from which `streamlit run` takes those that it needs first."""


def _options(section: str, values: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """The settings of a section of a file under their full names, its inner sections' too."""
    for name, value in values.items():
        if isinstance(value, dict):
            yield from _options(f"{section}.{name}", value)
        else:
            yield f"{section}.{name}", value


_THEME_FILE = Path(__file__).with_name("theme.toml")
THEME: Final = dict(_options("theme", tomllib.loads(_THEME_FILE.read_text("utf-8"))["theme"]))
"""Colours and letters of Streamlit's own parts, by the names of its settings."""

_WIDER = (
    "This program answers only the computer it runs on: whoever can open its address can see every client. "
    "Start it without --server.address."
)
_log = logging.getLogger("tracker.ui")


def keep_to_this_computer() -> None:
    """Put the safe settings in force, now and whenever Streamlit reads its files again; call before the app is made.

    If the server already listens more widely, this does not return: the program starts again.
    """
    _put_in_force()
    config.on_config_parsed(_put_in_force, force_connect=True)
    wide = [each for each in _listening(int(config.get_option("server.port"))) if not _stays_here(each)]
    if wide:
        for each in wide:
            each.close()
        _start_again()


def _put_in_force() -> None:
    for name, value in {**SAFE, **THEME}.items():
        if config.get_option(name) != value:
            config.set_option(name, value)


def _listening(port: int) -> list[socket.socket]:
    """The sockets of this process that wait at this port; `streamlit run` made its own before it loaded the app."""
    found = [each for each in gc.get_objects() if type(each) is socket.socket and each.fileno() >= 0]
    return [each for each in found if _waits(each) and each.getsockname()[1] == port]


def _waits(each: socket.socket) -> bool:
    internet = each.family in (socket.AF_INET, socket.AF_INET6)
    return internet and bool(each.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN))


def _stays_here(each: socket.socket) -> bool:
    return is_this_computer(str(each.getsockname()[0]))


def _start_again() -> Never:
    options = config.get_config_options()
    # a list cannot be given in the environment, and need not be: nobody is let in before the program sets it itself
    safe = {options[name].env_var: str(value).lower() for name, value in SAFE.items() if not isinstance(value, list)}
    if all(os.environ.get(name) == value for name, value in safe.items()):
        raise SystemExit(_WIDER)  # a flag outranks the environment, so starting again would not help
    _log.warning("The settings in .streamlit are missing or changed: starting again, for this computer only.")
    command = [sys.executable, *sys.orig_argv[1:]]
    environment = {**os.environ, **safe}
    if sys.platform == "win32":  # where replacing the program would return to the prompt at once
        raise SystemExit(subprocess.call(command, env=environment))  # noqa: S603 the command that started this program
    os.execve(command[0], command, environment)  # noqa: S606 the same
