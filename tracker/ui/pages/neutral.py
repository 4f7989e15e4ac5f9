"""Natural hair: what counts as neutral, neither warm nor cool, in this studio."""

from __future__ import annotations

import streamlit as st

from tracker import workflow
from tracker.calibrate.calibration import LOCUS, Swatch
from tracker.calibrate.warmth import DEFAULT_LOCUS, NeutralLocus
from tracker.errors import CannotCalibrate
from tracker.maths.rgb_space import lab_to_hex
from tracker.store import Store
from tracker.ui.look import failure
from tracker.ui.navigation import link
from tracker.ui.parts.charts_view import is_dark, show_chart
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.own_yardsticks import gathered_swatches, go_on_from, say_measured, swatches_in_force, versions
from tracker.ui.parts.passing_photos import passing_photos, round_of
from tracker.ui.parts.words import plain
from tracker.ui.parts.yardstick_words import locus_words
from tracker.ui.session import in_force, open_store

_KEY = "neutral"


def page() -> None:
    """The page."""
    begin()
    st.title("Natural hair", anchor=False)
    with told():
        store = open_store()
        locus = in_force().locus
        st.subheader(plain(locus_words(locus)), anchor=False)
        swatches = workflow.swatches_so_far(store, LOCUS)
        if not swatches and locus.own is None:
            st.markdown(
                "Natural hair is itself warm: black hair hardly, brown and dark blonde hair most, light blonde hair "
                "less. So warmth counts from natural hair of the same lightness. Show the program yours: at least "
                "three swatches or locks that were **never coloured**, from dark to light, beside your card. They are "
                "used between the darkest and the lightest of them; outside that, published hair is used as before. "
                "If it is a person’s hair, that person must agree first."
            )
        if not swatches and locus.own is not None:
            _in_force(store, locus)
        _photos(store, "Add natural hair" if swatches or locus.own is None else "Start again with other hair")
        if swatches:
            _so_far(store, swatches)
        elif locus.own is None:
            _in_force(store, locus)
        versions(store, LOCUS, plain(DEFAULT_LOCUS.source))
        link("studio", "Back to the studio")


def _photos(store: Store, header: str) -> None:
    st.header(header, anchor=False)
    name = st.text_input(
        "Name, if you like", max_chars=60, placeholder="for example: dark ash", key=f"{_KEY}-name-{round_of(_KEY)}"
    )
    passing_photos(
        store,
        _KEY,
        "Photos of natural hair",
        lambda reading, camera: say_measured(
            workflow.add_swatch(store, LOCUS, reading, name=name or "", camera=camera).name
        ),
    )


def _so_far(store: Store, swatches: tuple[Swatch, ...]) -> None:
    st.header("Neutral from this hair", anchor=False)
    gathered_swatches(store, LOCUS, swatches)
    try:
        locus = workflow.locus_from(swatches, "own natural hair")
    except CannotCalibrate as error:
        failure(error.what, error.advice)
        return
    _chart(locus, swatches)
    st.markdown(plain(locus.source))
    if st.button("Use this from now on", type="primary", key=f"{_KEY}-adopt"):
        workflow.adopt_swatches(store, LOCUS)
        say_on_next_page("Warmth now counts from your own natural hair, in kept readings too.")
        st.rerun()


def _in_force(store: Store, locus: NeutralLocus) -> None:
    _chart(locus, swatches_in_force(store, LOCUS))
    go_on_from(store, LOCUS, "Add to this hair", f"{_KEY}-again")


def _chart(locus: NeutralLocus, swatches: tuple[Swatch, ...]) -> None:
    from tracker.charts import neutral_chart

    labs = [swatch.lab for swatch in swatches]
    spec, words = neutral_chart(locus, labs, is_dark(), [lab_to_hex(lab.lab) for lab in labs])
    show_chart(spec, words, key="neutral-chart")
    st.caption("The band holds 95 %." + (" Dashed: published hair." if locus.own is not None else ""))
