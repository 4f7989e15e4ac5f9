"""How the colour of the current service wears: a curve as far as the photos carry one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import streamlit as st

from tracker.colorimetry import lab_to_hex
from tracker.errors import TrackerError
from tracker.fade import FadeSeries, fit_fade, months_between
from tracker.quantities import LabMeasured
from tracker.reading import REGIONS, RegionReading
from tracker.records import AFTER, PROGRESS, PhotoRecord
from tracker.ui.parts.charts_view import is_dark, show_chart
from tracker.ui.parts.fade_words import BANDS, LIGHTNESS, WARMTH, finding, rate_words
from tracker.ui.parts.notices import sorry
from tracker.ui.parts.pair import like_for_like, state_in_force
from tracker.ui.parts.reading_view import no_number
from tracker.ui.parts.visit_line import role_photo
from tracker.ui.parts.words import REGION_WORDS, as_date, day, plain
from tracker.ui.session import in_force
from tracker.warmth import estimate_warmth

if TYPE_CHECKING:
    from tracker.store import Store

_AXIS = {LIGHTNESS: "lightness, L*", WARMTH: "warmth, plus is warmer"}
_UNIT = {LIGHTNESS: "L*", WARMTH: "warmth"}


@dataclass(frozen=True, slots=True)
class Segment:
    """The photos of one service: the one after it, then those in between.

    Attributes
    ----------
    photos : with a number, in the order they were taken
    left_out : without one
    """

    photos: tuple[PhotoRecord, ...]
    left_out: tuple[PhotoRecord, ...]


def current_segment(store: Store, client_id: str) -> Segment | None:
    """The photos since the last visit that has one after it; None where there is no such visit."""
    for visit in store.visits(client_id):
        start = role_photo(store.photos(visit_id=visit.id), AFTER)
        if start is not None:
            later = store.photos(client_id, role=PROGRESS, taken_from=start.taken_at)
            row = (start, *_by_day(later))
            measured = tuple(photo for photo in row if not no_number(photo))
            return Segment(measured, tuple(photo for photo in row if no_number(photo)))
    return None


def _by_day(photos: list[PhotoRecord]) -> list[PhotoRecord]:
    """The photo that stands for each day, in order: photos of one day show one state and are read together."""
    days: dict[date, list[PhotoRecord]] = {}
    for photo in sorted(photos, key=lambda photo: photo.taken_at):
        days.setdefault(as_date(photo.taken_at), []).append(photo)
    states = (state_in_force(row, PROGRESS) for row in days.values())
    return [state.standing for state in states if state is not None]


def fade_of_current_service(store: Store, client_id: str) -> None:
    """The chart with its pickers, or what is missing for one."""
    segment = current_segment(store, client_id)
    if segment is None:
        return
    st.header("How the colour wears", anchor=False)
    if not segment.photos:
        st.markdown("No photo since the service has a number, so there is nothing to show yet.")
    else:
        left, right = st.columns(2)
        region = left.segmented_control(
            "Where", REGIONS, default="end", required=True, format_func=REGION_WORDS.__getitem__, key="fade-region"
        )
        quantity = right.segmented_control(
            "What", [WARMTH, LIGHTNESS], default=WARMTH, required=True, key="fade-quantity"
        )
        _chart(segment.photos, str(region), str(quantity))
    for photo in segment.left_out:
        st.caption(f"Left out: the photo of {day(as_date(photo.taken_at))}. {plain(no_number(photo))}")


def _chart(photos: tuple[PhotoRecord, ...], region: str, quantity: str) -> None:
    from tracker.charts import fade_chart

    places = [(photo, found) for photo in photos if photo.reading and (found := photo.reading.region(region))]
    try:
        series = _series(places, region, quantity)
        fit = fit_fade(series)
    except TrackerError as error:
        sorry(error)
        return
    spec, words = fade_chart(
        series,
        fit,
        title=finding(tuple(photo for photo, _ in places), region, quantity),
        y_title=_AXIS[quantity],
        dark=is_dark(),
        swatches=[lab_to_hex(found.lab.lab) for _, found in places],
    )
    show_chart(spec, words, key="fade")
    st.caption(plain(" ".join(part for part in (BANDS, rate_words(fit)) if part)))


def _series(places: list[tuple[PhotoRecord, RegionReading]], region: str, quantity: str) -> FadeSeries:
    """The readings of one band as months since the first, value and the doubt that differs between photos."""
    start = places[0][0].taken_at if places else None
    months = tuple(months_between(start, photo.taken_at) for photo, _ in places if start is not None)
    alike = all(like_for_like(places[0][0], photo) for photo, _ in places)
    measured = [_value(found, quantity, alike=alike) for _, found in places]
    return FadeSeries(
        months,
        tuple(value for value, _ in measured),
        tuple(u for _, u in measured),
        REGION_WORDS[region].lower(),
        _UNIT[quantity],
    )


def _value(region: RegionReading, quantity: str, *, alike: bool) -> tuple[float, float]:
    """Value and standard uncertainty: photos from unlike kits keep the part that like ones share."""
    repeated = LabMeasured(region.lab.lab, region.repeat_cov, region.lab.dof) if alike else region.lab
    if quantity == LIGHTNESS:
        return repeated.lab[0], repeated.u[0]
    # the doubt of the locus is common to all photos of a series
    shared = replace(in_force().locus, u=0.0, u_dark=0.0, u_own=0.0)
    warmth = estimate_warmth(repeated, shared).value
    return warmth.value, warmth.u
