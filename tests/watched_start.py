"""Start a server that writes down and refuses every attempt to reach another computer: ``LOG`` and its command line.

Where the environment names a folder as ``WATCHED_FOLDER``, it also writes down what is opened there.

It uses the interpreter's own audit events (PEP 578), so that no way through the standard library is missed, and needs
nothing of the system. A server that starts itself once more is watched again, because its command line stays the same.
"""

from __future__ import annotations

import ipaddress
import os
import runpy
import sys
import tempfile
from pathlib import Path
from typing import Any

NAMES = ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr", "socket.getnameinfo")
ADDRESSES = ("socket.connect", "socket.sendto", "socket.sendmsg")


def outside(event: str, given: tuple[Any, ...]) -> str | None:
    """What lies beyond this computer in an audit event; None where nothing does."""
    if event in NAMES:
        host = given[0][0] if isinstance(given[0], tuple) else given[0]
    elif event in ADDRESSES and isinstance(given[1], tuple):
        host = given[1][0]
    else:
        return None
    host = host.decode() if isinstance(host, bytes) else host
    return None if host in (None, "", "localhost") or _loopback(str(host)) else str(host)


def _loopback(host: str) -> bool:
    try:
        # nobody is reached by listening on every address, which `getaddrinfo` is asked for too
        return ipaddress.ip_address(host).is_loopback or ipaddress.ip_address(host).is_unspecified
    except ValueError:
        return False


def main() -> None:
    log, target, *rest = sys.argv[1:]

    folder = os.environ.get("WATCHED_FOLDER")

    def note(line: str) -> None:
        with Path(log).open("a", encoding="utf-8") as file:
            file.write(line + "\n")

    def watch(event: str, given: tuple[Any, ...]) -> None:
        if event == "open" and folder and isinstance(given[0], str) and given[0].startswith(folder):
            note(f"open {given[0]}")
        host = outside(event, given) if event.startswith("socket.") else None
        if host is not None:
            note(f"{event} {host}")
            raise PermissionError(f"a test does not let {event} reach {host}")

    tempfile.gettempdir()  # it finds the folder by writing to it, which is no upload
    Path(log).touch()
    sys.addaudithook(watch)
    sys.argv = [target, *rest]
    if target == "streamlit":
        from streamlit.web.cli import main as streamlit

        streamlit(prog_name="streamlit")
    else:
        sys.path.insert(0, str(Path(target).resolve().parent))
        runpy.run_path(target, run_name="__main__")


if __name__ == "__main__":
    main()
