"""Set-up check: how far photos of the same hair differ in this studio."""

from __future__ import annotations

from datetime import date
from functools import partial

import streamlit as st

from tracker import workflow
from tracker.calibrate.calibration import SPREAD
from tracker.calibrate.gauge_study import WANTED, GaugeStudy, Shot, repeatability_of, study
from tracker.errors import TooFewReadings
from tracker.measure.reading import WHOLE
from tracker.measure.repeatability import PROVISIONAL, Repeatability
from tracker.store import Store
from tracker.ui.look import failure, show_drawing
from tracker.ui.navigation import link
from tracker.ui.parts.charts_view import is_dark, show_chart
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.opening import begin
from tracker.ui.parts.own_yardsticks import say_measured, versions
from tracker.ui.parts.passing_photos import passing_photos, round_of
from tracker.ui.parts.words import plain
from tracker.ui.parts.yardstick_words import (
    REPEAT_IT,
    counts_no_more,
    light_at_level,
    photos_table,
    smallest_words,
    what_it_is_made_of,
)
from tracker.ui.session import in_force, open_store
from tracker.words import count, day, noun

_KEY = "set-up"


def page() -> None:
    """The page."""
    begin()
    st.title("Set-up check", anchor=False)
    with told():
        store = open_store()
        own = in_force()
        st.subheader(plain(smallest_words(own.spread, own.scale)), anchor=False)
        shots = workflow.shots_so_far(store)
        if counts_no_more(own.spread):
            st.markdown(REPEAT_IT)
        spread = own.spread.over(WHOLE)
        _earlier(store)
        if not shots and spread.provisional:
            _how()
        if not shots and not spread.provisional:
            _in_force(spread)
        _photos(store, shots, "Add photos" if shots or spread.provisional else "Check again")
        if shots:
            _so_far(store, shots)
        if shots or spread.provisional:
            _in_force(spread)
        versions(store, SPREAD, plain(PROVISIONAL.source))
        link("studio", "Back to the studio")


def _earlier(store: Store) -> None:
    """What an earlier version began, and can no longer be used."""
    earlier = workflow.earlier_shots(store)
    if not earlier:
        return
    number = len(earlier)
    st.markdown(
        f"{count(number, 'photo')} of a check begun before {noun(number, 'was', 'were')} read along a ribbon, by the "
        f"earlier method, and {noun(number, 'does', 'do')} not count. No photo was kept, so take them again."
    )
    if st.button("Forget them", key=f"{_KEY}-drop-earlier"):
        workflow.drop_shots(store, earlier)
        st.rerun()


def _how() -> None:
    st.markdown(
        "How far apart do photos of the same hair come out here when nothing has changed? A few swatches and ten "
        "minutes on each of five days will tell; from then on every ± and every “real change” rests on your own studio."
    )
    show_drawing("set up", "The same swatch and card photographed three times, put down and picked up again in between")
    st.markdown(
        "1. Take hair that stays as it is: swatches or a mannequin head, from dark to light. If it is a person’s "
        "hair, that person must agree first.\n"
        "2. Photograph each three times beside the card. **Put hair and card down in between** and pick them up "
        "again, as you would with a client.\n"
        "3. Do it again on other days, and let whoever else takes photos here do it too.\n"
        f"4. Best: {WANTED}. Seven photos of one swatch are the minimum; fewer photos give a wider ±. On fewer than "
        "five days the program keeps allowing for light that differs between card and hair, which is a guess."
    )


def _photos(store: Store, shots: tuple[Shot, ...], header: str) -> None:
    st.header(header, anchor=False)
    last = shots[-1] if shots else None
    with st.container():
        # empty for each lot, so that the next hair is not kept under the previous name
        sample = st.text_input(
            "Which hair (the same name for the same hair, on other days too)",
            max_chars=60,
            placeholder="for example: swatch 1",
            key=f"{_KEY}-sample-{round_of(_KEY)}",
        )
        left, right = st.columns(2)
        operator = left.text_input(
            "Who takes the photos",
            value=last.operator if last is not None else "me",
            max_chars=60,
            key=f"{_KEY}-operator",
        )
        session = right.text_input("Session", value=day(date.today()), max_chars=60, key=f"{_KEY}-session")
    keep = partial(workflow.add_shot, store, sample=sample, operator=operator, session=session)
    passing_photos(store, _KEY, "Photos of this hair", lambda reading, _: say_measured(keep(reading).sample))


def _so_far(store: Store, shots: tuple[Shot, ...]) -> None:
    """What was gathered, what it says, and what is missing."""
    st.header("What the photos say so far", anchor=False)
    st.markdown(photos_table(shots))
    try:
        spread = study(shots)
    except TooFewReadings as error:
        failure(error.what, error.advice)
    else:
        _offer(store, spread)
    with st.popover("Take back"):
        newest = shots[-1]
        st.markdown(f"The newest reading is of {plain(newest.sample)}, {plain(newest.session)}.")
        if st.button("Forget the newest", key=f"{_KEY}-drop-newest"):
            workflow.drop_shots(store, [newest])
            st.rerun()
        if st.button("Forget all of them", key=f"{_KEY}-drop-all"):
            workflow.drop_shots(store)
            st.rerun()


def _offer(store: Store, spread: GaugeStudy) -> None:
    own = repeatability_of(spread, "this check")
    st.markdown(f"**{plain(smallest_words(own, in_force().scale))}**")
    st.markdown(what_it_is_made_of(spread))
    if not spread.enough:
        st.caption(
            "Too few days to say how days differ: light that differs between card and hair is still allowed for as "
            "before. From five days on (or three people on three days) your own figure takes its place."
        )
    if spread.left_over:
        st.caption(
            f"{count(spread.left_over, 'photo')} could not help to tell people and days apart: "
            "not every hair has photos by everyone on every day."
        )
    if st.button("Use this from now on", type="primary", key=f"{_KEY}-adopt"):
        workflow.adopt_spread(store)
        say_on_next_page("From now on every ± rests on your own set-up check. Photos measured before keep theirs.")
        st.rerun()


def _in_force(spread: Repeatability) -> None:
    from tracker.charts import photos_chart

    st.header("What one more photo is worth", anchor=False)
    spec, words = photos_chart(spread, light_at_level(in_force().scale, spread), is_dark())
    show_chart(spec, words, key="photos-chart")
    st.caption(
        "In L*, the lightness of the colour: a level is only a few L* where hair is dark, and many where it is light."
    )
