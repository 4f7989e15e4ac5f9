"""Lines of a list: a small photo, a name that opens something, a few quiet words."""

from __future__ import annotations

import streamlit as st

from tracker.ui.look import no_photo
from tracker.ui.look import photo as show_photo
from tracker.ui.navigation import link
from tracker.ui.parts.words import plain

THUMB = 84
"""Width of the small photo, pixels."""


def thumb(picture: tuple[str, str] | None) -> None:
    """A photo shown small, by its address and words; an empty frame where there is none."""
    with st.container(width=THUMB):
        if picture is None:
            no_photo()
        else:
            show_photo(*picture, ratio=1)


def row(picture: tuple[str, str] | None, key: str, page: str, title: str, about: str, **identifiers: str) -> None:
    """One line of a list; a tap anywhere on it opens the page.

    Parameters
    ----------
    picture : address and words of a photo shown small at the left, or nothing
    key : str, different from that of any other line on the page
    page : str, the page that opens, with `identifiers` in its address
    title : str, as typed by a person; shown character for character
    about : str, quiet words under it, our own or already made plain
    """
    with st.container(key=f"line-{key}", horizontal=True, vertical_alignment="center", wrap=False, gap="medium"):
        thumb(picture)
        with st.container(gap="xsmall"):
            link(page, plain(title), **identifiers)
            st.caption(about)
