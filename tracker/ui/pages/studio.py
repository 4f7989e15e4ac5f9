"""Studio: my cards, my level scale, my set-up check, my data."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from tracker import workflow
from tracker.level import DEFAULT_SCALE
from tracker.measure import CARD_KINDS
from tracker.records import CONSENT_VERSION, CONSENT_WORDING, PURPOSES
from tracker.store import data_folder
from tracker.ui.look import show_drawing
from tracker.ui.parts.consent_view import PURPOSE_WORDS
from tracker.ui.parts.demo import demo_button
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.words import disk_size, plain
from tracker.ui.session import open_store

if TYPE_CHECKING:
    from tracker.store import Store


def page() -> None:
    """The page."""
    begin()
    st.title("Studio", anchor=False)
    with told():
        store = open_store()
        _photo_advice()
        _cards()
        _scale()
        _set_up_check()
        _my_data(store)
        _demo(store)
        _wording()


def _photo_advice() -> None:
    st.header("A photo that can be measured", anchor=False)
    show_drawing(
        "card", "From above: the grey card beside the hair, turned a third of the way from the camera to the window"
    )
    st.markdown(
        "- Hold the card beside the hair, turned a third of the way from the camera to the light: "
        "then nothing shines on it.\n"
        "- Daylight from a window, lamps off, is best. Mixed light is worst.\n"
        "- No flash, no filter, no beauty mode, no portrait mode.\n"
        "- Fill the photo with hair and card. The whole card must show, without a shadow or a shine on it.\n"
        "- Dry, combed hair. Wet hair reads darker.\n"
        "- Same place, same phone and same card before and after: then the numbers can be compared best."
    )


def _cards() -> None:
    st.header("My cards", anchor=False)
    st.markdown("Any of these works. Choose the one you hold when you add the photos.")
    for kind in CARD_KINDS.values():
        st.markdown(f"**{kind.title}**  \n{kind.description}")


def _scale() -> None:
    st.header("My level scale", anchor=False)
    if DEFAULT_SCALE.provisional:
        st.markdown(
            "Provisional. Levels are read on the built-in scale, because no published table says what colour a level "
            "has. A single level may be off by one or two; a lift between two photos is far more certain, because "
            "what is wrong with the scale is wrong in both."
        )


def _set_up_check() -> None:
    st.header("My set-up check", anchor=False)
    st.markdown(
        "Provisional. How far photos of the same hair differ in your own studio has not been measured, so every ± "
        "rests on general figures. The same phone, card, place and light each time keep the real spread small."
    )


def _my_data(store: Store) -> None:
    st.header("My data", anchor=False)
    usage = store.usage()
    st.markdown(f"Everything stays on this computer: {disk_size(usage.bytes)} in this folder.")
    st.code(str(data_folder()), language=None, wrap_lines=True)
    if st.button("Back up now", key="backup"):
        with told():
            folder = store.backup(Path(data_folder()).parent)
            st.success("The backup is complete. Copy this folder to another disk.")
            st.code(str(folder), language=None, wrap_lines=True)


def _demo(store: Store) -> None:
    st.header("Demo studio", anchor=False)
    if not workflow.has_demo(store):
        st.markdown("Made-up clients to try everything out. They are marked as made up and can be removed at once.")
        if store.is_empty():
            demo_button(store, "Load the demo studio", key="load-demo")
        else:
            st.markdown("They can be loaded only while there is no client of your own, so that nothing is mixed up.")
        return
    st.markdown("The made-up clients are loaded.")
    if st.button("Remove the demo studio", key="remove-demo"):
        with told():
            workflow.remove_demo(store)
            say_on_next_page("The demo studio is removed.")
            st.rerun()


def _wording() -> None:
    st.header("What clients agree to", anchor=False)
    st.markdown(f"Wording {CONSENT_VERSION}, in force now. Two separate statements; the second is never a condition.")
    for purpose in PURPOSES:
        st.markdown(f"**{PURPOSE_WORDS[purpose]}**  \n{plain(CONSENT_WORDING[purpose])}")
