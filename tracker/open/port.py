"""At which port the studio is served, or can be."""

from __future__ import annotations

import socket
import sys
import time
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPException

from tracker.errors import Conflict

HOST = "127.0.0.1"
FIRST, LAST = 8501, 8520
"""Where `streamlit run` begins, and how far to look for a free port."""

_ANSWER_SECONDS = 3.0
_START_SECONDS = 120.0
_LONGEST_SIGN = 1000  # bytes; more is never read


@dataclass(frozen=True, slots=True)
class Place:
    """Where a studio is or will be.

    Attributes
    ----------
    port : int
    sign : str, which studio it is: `workflow.which_studio`
    served : bool, True where a program serves it there already
    """

    port: int
    sign: str
    served: bool = False

    @property
    def address(self) -> str:
        """What to type into the browser."""
        return f"http://{HOST}:{self.port}"


def find_place(port: int | None, sign: str) -> Place:
    """Where this studio is served already, else the first free port.

    Parameters
    ----------
    port : the only one to look at; None for those from `FIRST` to `LAST`
    sign : str, which studio it is

    Raises
    ------
    Conflict : none is free
    """
    looked_at = range(FIRST, LAST + 1) if port is None else (port,)
    free = []
    for each in looked_at:
        if is_free(each):
            free.append(each)
        elif is_served(Place(each, sign)):
            return Place(each, sign, served=True)
    if free:
        return Place(free[0], sign)
    taken = f"The port {port} is" if port else f"The ports {FIRST} to {LAST} are all"
    raise Conflict(f"{taken} taken by other programs.", "Name another one with --port.")


def is_free(port: int) -> bool:
    """Whether the port is free on this computer."""
    with socket.socket() as probe:
        if sys.platform != "win32":  # there it would let two programs listen at one port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            return False
    return True


def is_served(place: Place) -> bool:
    """Whether this studio is served there; another program may answer anything, but does not know the sign."""
    return _sign_at(place.port) == place.sign.encode()


def wait_until_served(place: Place) -> bool:
    """Return as soon as this program serves its pages there; False if it does not within two minutes."""
    end = time.monotonic() + _START_SECONDS
    while time.monotonic() < end:
        # whatever the sign: a new studio gets its identifier when it is opened for the first time
        if _sign_at(place.port) is not None:
            return True
        time.sleep(0.1)
    return False


def _sign_at(port: int) -> bytes | None:
    """What the program there says of its studio; None if nothing."""
    connection = HTTPConnection(HOST, port, timeout=_ANSWER_SECONDS)
    try:
        connection.request("GET", "/which-studio")
        answer = connection.getresponse()
        return answer.read(_LONGEST_SIGN) if answer.status == 200 else None
    except (OSError, HTTPException):
        return None
    finally:
        connection.close()
