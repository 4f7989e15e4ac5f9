"""Level scale: which lightness is which level in this studio."""

from __future__ import annotations

import streamlit as st

from tracker import workflow
from tracker.calibrate.calibration import SCALE, Swatch
from tracker.calibrate.level import DEFAULT_SCALE, LevelScale
from tracker.errors import CannotCalibrate
from tracker.maths.rgb_space import lab_to_hex
from tracker.maths.uncertainty import format_number
from tracker.store import Store
from tracker.ui.look import failure
from tracker.ui.navigation import link
from tracker.ui.parts.charts_view import is_dark, show_chart
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.own_yardsticks import gathered_swatches, go_on_from, say_measured, swatches_in_force, versions
from tracker.ui.parts.passing_photos import passing_photos, round_of
from tracker.ui.parts.words import plain
from tracker.ui.parts.yardstick_words import scale_words
from tracker.ui.session import in_force, open_store

_KEY = "scale"


def page() -> None:
    """The page."""
    begin()
    st.title("Level scale", anchor=False)
    with told():
        store = open_store()
        scale = in_force().scale
        st.subheader(plain(scale_words(scale)), anchor=False)
        swatches = workflow.swatches_so_far(store, SCALE)
        if not swatches and scale.provisional:
            _how()
        if not swatches and not scale.provisional:
            _curve(store, scale)
        _photos(store, "Add a swatch" if swatches or scale.provisional else "A new scale from new swatches")
        if swatches:
            _so_far(store, swatches)
        elif scale.provisional:
            _curve(store, scale)
        versions(store, SCALE, plain(DEFAULT_SCALE.source))
        link("studio", "Back to the studio")


def _how() -> None:
    st.markdown(
        "No published table says what colour a level has, so levels are read on a built-in curve until you show the "
        "program your own swatches. Five minutes, and a level here means what it means on your swatch ring.\n\n"
        "1. Take at least three swatches of known level, as far apart as you have them. More are better.\n"
        "2. Photograph each beside your card, in your usual place and light, dry and combed.\n"
        "3. Type its level and add the photo. Kept readings follow the new scale at once."
    )


def _photos(store: Store, header: str) -> None:
    st.header(header, anchor=False)
    number = round_of(_KEY)  # the next swatch starts with empty fields, so that it is not kept under the previous level
    left, right = st.columns(2)
    level = left.number_input(
        "Level on its label",
        min_value=1.0,
        max_value=10.0,
        value=None,
        step=0.5,
        format="%.1f",
        key=f"{_KEY}-level-{number}",
    )
    name = right.text_input(
        "Name, if you like", max_chars=60, placeholder="for example: ring, natural", key=f"{_KEY}-name-{number}"
    )
    passing_photos(
        store,
        _KEY,
        "Photos of this swatch",
        lambda reading, camera: say_measured(
            workflow.add_swatch(store, SCALE, reading, name=name or "", level=level, camera=camera).name
        ),
    )


def _so_far(store: Store, swatches: tuple[Swatch, ...]) -> None:
    """What was gathered, the scale that it makes, or what is missing."""
    st.header("The scale from these swatches", anchor=False)
    try:
        fit = workflow.scale_from(swatches, "own scale")
    except CannotCalibrate as error:
        gathered_swatches(store, SCALE, swatches)
        failure(error.what, error.advice)
        return
    notes = [
        f"labelled {format_number(swatch.level or 0)}, reads like level {format_number((swatch.level or 0) + off)}"
        for swatch, off in zip(swatches, fit.residuals, strict=True)
    ]
    gathered_swatches(store, SCALE, swatches, notes)
    _chart(fit.scale, swatches)
    st.markdown(plain(fit.scale.source))
    if st.button("Use this scale from now on", type="primary", key=f"{_KEY}-adopt"):
        workflow.adopt_swatches(store, SCALE)
        say_on_next_page("Levels are now read on your own scale, in kept readings too.")
        st.rerun()


def _curve(store: Store, scale: LevelScale) -> None:
    """The scale in force with its swatches, and the way to add to them."""
    _chart(scale, swatches_in_force(store, SCALE))
    go_on_from(store, SCALE, "Add to these swatches", f"{_KEY}-again")


def _chart(scale: LevelScale, swatches: tuple[Swatch, ...]) -> None:
    from tracker.charts import scale_chart

    places = [(swatch.name, swatch.level, swatch.lab) for swatch in swatches if swatch.level is not None]
    spec, words = scale_chart(scale, places, is_dark(), [lab_to_hex(lab.lab) for _, _, lab in places])
    show_chart(spec, words, key="scale-chart")
    dashes = "" if scale.provisional else " Dashed: the built-in curve."
    st.caption(f"The band holds 95 %: it is wider where there are no swatches.{dashes}")
