"""A button that saves a file. Streamlit's own button keeps the file in memory, where an erasure does not reach it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from secrets import token_urlsafe

from tracker.ui.look import file_link
from tracker.ui.offers import Offer, offer
from tracker.ui.parts.held import held


@dataclass
class _Place:
    """Where a file is fetched from, in this window."""

    token: str = field(default_factory=lambda: token_urlsafe(16))


def offer_file(label: str, make: Callable[[], bytes], name: str, mime: str, *, key: str, primary: bool = False) -> None:
    """Offer a file that is made when it is fetched, on this computer.

    Parameters
    ----------
    label : str, on the button
    make : function without arguments, the content; it reads the record when called rather than holding a copy
    name, mime : str, what the file is called, and its media type
    key : str, tells the files of a page apart
    primary : bool, whether this is the next thing to do
    """
    file_link(label, offer(held(_Place, key).token, Offer(make, name, mime)), name, primary=primary)
