"""Studio: my cards, my level scale, my set-up check, my data."""

from __future__ import annotations

import streamlit as st

from tracker import METHOD_VERSION, workflow
from tracker.calibrate.calibration import Yardsticks
from tracker.measure import CARD_KINDS
from tracker.record.records import CONSENT_VERSION, CONSENT_WORDING, PURPOSES
from tracker.store import Store
from tracker.ui.navigation import link
from tracker.ui.parts.backups_view import backup_now
from tracker.ui.parts.card_size import card_sizes
from tracker.ui.parts.consent_view import PURPOSE_WORDS
from tracker.ui.parts.demo import demo_button
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.older_readings import older_words
from tracker.ui.parts.opening import begin
from tracker.ui.parts.photo_advice import short_photo_advice
from tracker.ui.parts.place_view import warn_about_place
from tracker.ui.parts.print_holder import print_holder
from tracker.ui.parts.words import plain
from tracker.ui.parts.yardstick_words import (
    REPEAT_IT,
    counts_no_more,
    locus_words,
    scale_words,
    smallest_words,
)
from tracker.ui.session import open_store


def page() -> None:
    """The page."""
    begin()
    st.title("Studio", anchor=False)
    with told():
        store = open_store()
        _photo_advice()
        _cards(store)
        own = store.yardsticks.in_force()
        _scale(own)
        _set_up_check(own)
        _numbers_of_mine()
        _my_data(store)
        _demo(store)
        _wording()


def _photo_advice() -> None:
    st.header("A photo that can be measured", anchor=False)
    short_photo_advice()
    link("photo_guide", "How to take it, step by step")


def _cards(store: Store) -> None:
    st.header("My cards", anchor=False)
    st.markdown("Any of these works. Choose the one you hold when you add the photos.")
    link("card_guide", "Make a two-part card for little money")
    for kind in CARD_KINDS.values():
        st.markdown(f"**{kind.title}**  \n{kind.description}")
    print_holder()
    card_sizes(store)


def _scale(own: Yardsticks) -> None:
    st.header("My level scale", anchor=False)
    st.markdown(f"**{plain(scale_words(own.scale))}**")
    if own.scale.provisional:
        st.markdown(
            "No published table says what colour a level has. A single level may be off by one or two; a lift between "
            "two photos is far more certain, because both share whatever is wrong with the scale. Three swatches of "
            "known level and five minutes make it yours."
        )
    link("level_scale", "Set my level scale" if own.scale.provisional else "My level scale")
    st.markdown(plain(locus_words(own.locus)))
    link("neutral", "Set what is neutral" if own.locus.own is None else "My natural hair")


def _set_up_check(own: Yardsticks) -> None:
    st.header("My set-up check", anchor=False)
    st.markdown(f"**{plain(smallest_words(own.spread, own.scale))}**")
    again = counts_no_more(own.spread)
    if again:
        st.markdown(REPEAT_IT)
    elif own.spread.provisional:
        st.markdown(
            "Nobody has measured yet how far photos of the same hair differ in your own studio, so every ± rests on "
            "general figures. Ten minutes with a few swatches will do it."
        )
    ask = "Repeat the set-up check" if again else "Do the set-up check" if own.spread.provisional else "My set-up check"
    link("set_up_check", ask)


def _numbers_of_mine() -> None:
    st.header("What services cost, and what came of them", anchor=False)
    link("prices", "My price list")
    link("results", "Past results")


def _my_data(store: Store) -> None:
    st.header("My data", anchor=False)
    warn_about_place()
    older = older_words(store.remeasuring.older(METHOD_VERSION))
    if older:
        st.markdown(f"**{older}**")
        link("data", "Measure them again")
    backup_now(store)
    link("data", "Backups, taking data out, bringing it in, what was erased")


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
