"""The chart of one service's wear, with a file of it for whoever wants to keep or send it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import streamlit as st

from tracker.compare.photo_set import combined_state
from tracker.maths.rgb_space import lab_to_hex
from tracker.record.agreed import AgreedLimits
from tracker.record.records import AFTER, BEFORE, PROGRESS, PhotoRecord
from tracker.store import Store
from tracker.ui.parts.charts_view import is_dark, show_chart
from tracker.ui.parts.fade_words import LIGHTNESS, WARMTH, chart_words, finding, learnt_words, rate_words
from tracker.ui.parts.limit_words import agreed_words
from tracker.ui.parts.offer import offer_file
from tracker.ui.parts.words import plain
from tracker.ui.session import in_force
from tracker.wear import WARMTH as WARMTH_QUANTITY
from tracker.wear import (
    ServiceReadings,
    fit_place,
    limit_heights,
    limits_in_force,
    modelled_labs,
    visits_since,
)
from tracker.words import as_date
from tracker.workflow.learning import learning

if TYPE_CHECKING:
    from tracker.charts.picture import Format

_AXIS = {LIGHTNESS: "lightness, L*", WARMTH: "warmth, plus is warmer"}
_QUANTITY = {LIGHTNESS: "L*", WARMTH: WARMTH_QUANTITY}
_STRIP = 40  # patches of modelled colour
_FORMAT_WORDS = {"svg": "SVG, sharp at any size", "png": "PNG, a picture", "pdf": "PDF, for printing"}


def wear_chart(store: Store, readings: ServiceReadings, region: str, quantity: str) -> None:
    """The chart, what it rests on, and the files.

    Raises
    ------
    TrackerError : where the readings make no curve
    """
    from tracker.charts import axis_end, fade_chart

    known = learning(store)
    fit = fit_place(readings, region, _QUANTITY[quantity], known.priors)
    place = readings.place(region)
    if fit is None or place is None:
        st.markdown("This part was not read right after the service, so there is no curve to show.")
        return
    visits = store.visits.of_client(readings.client_id)
    _, limits = limits_in_force(visits)
    lines = []
    if limits.region == region:
        heights = limit_heights(fit, limits, _QUANTITY[quantity], in_force().scale)
        lines = [(_agreed(side), height) for side, height in heights]
    services = visits_since(readings, visits)
    modelled = modelled_labs(readings, region, known.priors, axis_end(fit.series, services), _STRIP)
    strip = [lab_to_hex(lab) for lab in modelled]
    draw = partial(
        fade_chart,
        fit.series,
        fit,
        title=finding(_first_and_last(store, readings), region, quantity),
        y_title=_AXIS[quantity],
        services=services,
        swatches=[lab_to_hex(lab) for lab in place.labs],
        limits=lines,
        strip=strip,
        begins=as_date(readings.begins),
    )
    spec, words = draw(dark=is_dark())
    show_chart(spec, words, key="fade")
    # warmth always leaves out the doubt in natural hair, other quantities only what like kits share
    drawn = chart_words(
        quantity=quantity,
        shared=readings.alike or quantity == WARMTH,
        strip=bool(strip),
        agreed=_agreed_words(limits, quantity, lines),
    )
    st.caption(plain(" ".join(part for part in (drawn, rate_words(fit)) if part)))
    says = learnt_words(known, readings, region, _QUANTITY[quantity])
    if says:
        st.caption(plain(says))
    save_chart(lambda: draw(dark=False)[0], f"wear-{region}-{quantity.lower()}", key="fade")


def save_chart(draw: Callable[[], dict[str, Any]], name: str, key: str) -> None:
    """Offer a chart as a file; it is drawn when it is asked for, on this computer."""
    from tracker.charts import FORMATS, MIME

    with st.popover("Save this chart"):
        st.markdown("Drawn on this computer, on white, without the client’s name.")
        for kind in FORMATS:
            make = partial(_picture, draw, kind)
            offer_file(_FORMAT_WORDS[kind], make, f"{name}.{kind}", MIME[kind], key=f"{key}-{kind}")


def _picture(draw: Callable[[], dict[str, Any]], kind: Format) -> bytes:
    from tracker.charts import chart_picture

    return chart_picture(draw(), kind)


def _agreed(side: str) -> str:
    return "at most" if side == "above" else "at least"


def _agreed_words(limits: AgreedLimits, quantity: str, drawn: Sequence[tuple[str, float]]) -> str:
    """What the dashed lines mean; empty where none is drawn."""
    if not drawn:
        return ""
    if quantity == WARMTH:
        return (
            agreed_words(replace(limits, darkest=None, lightest=None, root_mm=None)) + " than right after the service"
        )
    return agreed_words(replace(limits, warmer=None, root_mm=None))


def _first_and_last(store: Store, readings: ServiceReadings) -> tuple[PhotoRecord, ...]:
    """The photos of the state after the service and of the last state, each with its repeats."""
    ends = dict.fromkeys((readings.photo_ids[0], readings.photo_ids[-1]))
    return tuple(_with_repeats(store, photo_id, readings.hair) for photo_id in ends)


def _with_repeats(store: Store, photo_id: str, hair: str) -> PhotoRecord:
    photo = store.photos.get(photo_id)
    if photo.role in (AFTER, BEFORE):
        others = store.photos.find(visit_id=photo.visit_id)
    else:
        days = store.photos.days(photo.client_id, PROGRESS)
        others = [store.photos.get(key) for key, taken in days if as_date(taken) == as_date(photo.taken_at)]
    state = combined_state([each for each in others if each.role == photo.role], in_force().spread, hair)
    return state.standing if state is not None else photo
