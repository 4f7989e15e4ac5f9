"""Files that pages offer for saving: made from the record when they are fetched, so that no content waits in memory."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from tracker.errors import NotFound

MOST = 500
"""Most offers open at once; the oldest gives way, and its page makes another when it is drawn again."""


@dataclass(frozen=True, slots=True)
class Offer:
    """One file.

    Attributes
    ----------
    make : function without arguments that returns the content; raises TrackerError where it can no longer be made
    name : str, what the file is called where it is saved
    mime : str, its media type
    """

    make: Callable[[], bytes]
    name: str
    mime: str


_standing: OrderedDict[str, Offer] = OrderedDict()
_one_at_a_time = threading.Lock()


def offer(token: str, file: Offer) -> str:
    """Let whoever knows the token fetch the file; returns its address within the app."""
    with _one_at_a_time:
        _standing[token] = file
        _standing.move_to_end(token)
        while len(_standing) > MOST:
            _standing.popitem(last=False)
    return f"/download/{token}"


def offered(token: str) -> Offer:
    """The file under this token.

    Raises
    ------
    NotFound : it is not offered, or no longer
    """
    with _one_at_a_time:
        found = _standing.get(token)
    if found is None:
        raise NotFound("This file is not offered any more.", "Open the page again.")
    return found


def withdraw_offers() -> None:
    """Take back every offer: a client was erased, and what makes a file may hold something of the client."""
    with _one_at_a_time:
        _standing.clear()
