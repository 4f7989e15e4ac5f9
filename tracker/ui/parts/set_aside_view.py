"""Pictures that no record names: how many are set aside, a look at them, and what to do with them."""

from __future__ import annotations

import streamlit as st

from tracker.store import ASK_AFTER, LeftPicture, Store
from tracker.ui.look import photo as show_photo
from tracker.ui.navigation import link
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.rows import THUMB
from tracker.words import count, day, disk_size

_SHOWN = 12


def ask_about_set_aside(store: Store) -> None:
    """One line if pictures have been set aside for so long that somebody should decide; otherwise nothing."""
    if not store.set_aside.asks():
        return
    left = store.set_aside.pictures()
    one = len(left) == 1
    st.warning(
        f"{count(len(left), 'picture')} that no record names {'has' if one else 'have'} been set aside since "
        f"{day(left[0].since)}. Please decide what to do with {_them(left)}."
    )
    link("data", "Look at it under My data" if one else "Look at them under My data")


def set_aside(store: Store) -> None:
    """What is set aside, with the buttons that remove or keep it; nothing if nothing is."""
    left = store.set_aside.pictures()
    if not left:
        return
    st.header("Set aside", anchor=False)
    size = disk_size(sum(picture.bytes for picture in left))
    st.markdown(
        f"**{count(len(left), 'picture')}, {size}, since {day(left[0].since)}.** No record names "
        f"{_them(left)}: a save was cut off, or a record lost {_them(left)}. Nothing is removed unless you do it. "
        "Erasing any "
        "client removes everything here, because it may show the client."
    )
    _shown(left)
    if store.set_aside.asks():
        st.warning(f"Something has been here for {ASK_AFTER.days} days. Remove it, or keep it?")
        if st.button(f"Keep {_them(left)} {ASK_AFTER.days} days more", key="aside-keep"):
            with told():
                store.set_aside.keep()
                say_on_next_page(f"Kept. You will be asked again in {ASK_AFTER.days} days.")
                st.rerun()
    sure = st.checkbox(f"Yes, remove {count(len(left), 'picture')} for good", key="aside-sure")
    if st.button(f"Remove {_them(left)}", key="aside-remove", disabled=not sure):
        with told():
            removed = store.set_aside.remove([picture.name for picture in left])
            say_on_next_page(f"{count(removed, 'picture')} removed.")
            st.rerun()


def _shown(left: list[LeftPicture]) -> None:
    """The first of them, small."""
    with st.container(horizontal=True, key="aside-pictures"):
        for number, picture in enumerate(left[:_SHOWN], 1):
            with st.container(width=THUMB):
                show_photo(f"/set-aside/{picture.name}.jpg", f"Picture {number} of those set aside", ratio=1)
    if len(left) > _SHOWN:
        st.caption(f"And {len(left) - _SHOWN} more.")


def _them(left: list[LeftPicture]) -> str:
    return "it" if len(left) == 1 else "them"
