"""A button that saves a file. Streamlit's own button keeps the file in memory, where an erasure does not reach it."""

from __future__ import annotations

from collections.abc import Callable
from secrets import token_urlsafe

import streamlit as st

from tracker.ui.look import file_link
from tracker.ui.offers import Offer, offer


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
    token = st.session_state.setdefault(f"offer-{key}", token_urlsafe(16))
    file_link(label, offer(token, Offer(make, name, mime)), name, primary=primary)
