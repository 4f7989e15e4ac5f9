"""The command ``open``: serves the pages on this computer and shows them in the browser."""

from __future__ import annotations

import argparse
import threading
from typing import Final

from tracker.cli import Command
from tracker.cli.terminal import say
from tracker.open.browser import show
from tracker.open.port import Place, find_place, wait_until_served


def _takes(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--port", type=_port, metavar="NUMBER", help="use this port, not the first free one from 8501 on"
    )
    parser.add_argument("--no-browser", action="store_true", help="only print the address")


def _port(word: str) -> int:
    if not (word.isascii() and word.isdigit() and 1024 <= int(word) <= 65535):
        raise argparse.ArgumentTypeError(f"{word} is not a port from 1024 to 65535")
    return int(word)


def _run(options: argparse.Namespace) -> int:
    return open_studio(options.port, browser=not options.no_browser)


def open_studio(port: int | None, *, browser: bool) -> int:
    """Serve the studio until somebody presses Ctrl and C; if it is already being served, only show it.

    Parameters
    ----------
    port : at which to serve; None for the first that is free
    browser : bool, False to print the address only

    Raises
    ------
    TrackerError : the port is taken by another program, or there is no data folder
    """
    from tracker.workflow.which_studio import studio_sign

    place = find_place(port, studio_sign())
    if place.served:
        say(f"The studio is open already: {place.address}")
        show(place.address, browser)
        return 0
    say("Starting ...")
    threading.Thread(target=_announce, args=(place, browser), name="announcement", daemon=True).start()
    try:
        from tracker.ui.application import serve

        serve(place.port)
    except KeyboardInterrupt:
        pass
    say("The studio is closed.")
    return 0


def _announce(place: Place, browser: bool) -> None:
    if wait_until_served(place):
        say(f"The studio is open: {place.address}")
        show(place.address, browser)
        say("Leave this window open while you work. Ctrl and C together close the studio.")


OPEN: Final = Command("open", "open the studio in the browser", _takes, _run)
