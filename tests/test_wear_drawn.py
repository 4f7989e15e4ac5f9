"""What a chart of wear shows besides its readings: modelled colours, agreed limits, later visits."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from tracker.calibrate.level import DEFAULT_SCALE
from tracker.maths.quantities import Vector3
from tracker.record.agreed import NOTHING_AGREED
from tracker.record.records import Visit, now
from tracker.wear import (
    WARMTH,
    ServiceReadings,
    fit_place,
    limit_heights,
    modelled_labs,
    visits_since,
)
from tracker.wear.readings import LIGHTNESS, PlaceReadings

MONTHS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0)


def readings(labs: tuple[Vector3, ...], region: str = "end") -> ServiceReadings:
    n = len(labs)
    place = PlaceReadings(
        region, MONTHS[:n], labs, ((0.1, 0.1, 0.1),) * n, warmths=tuple(lab[2] for lab in labs), u_warmths=(0.1,) * n
    )
    begins = datetime(2026, 1, 10, 12, tzinfo=UTC)
    return ServiceReadings("one", "client", date(2026, 1, 10), begins, ("toner",), None, (place,))


def visit(days: int) -> Visit:
    return Visit(f"after {days}", "client", date(2026, 1, 10) + timedelta(days=days), ("cut",), (), "", "", now())


def test_the_strip_has_the_colours_that_the_readings_had() -> None:
    # an exponential from one colour to another, drawn here: the strip must show it at the middle of each step
    first, last = np.array([62.0, 4.0, 14.0]), np.array([58.0, 7.0, 22.0])
    at = np.array(MONTHS)[:, None]
    drawn = last + (first - last) * np.exp(-0.8 * at)
    labs = tuple((float(one[0]), float(one[1]), float(one[2])) for one in drawn)
    strip = modelled_labs(readings(labs), "end", {}, 4.0, 8)
    middles = (np.arange(8) + 0.5)[:, None] * 0.5
    np.testing.assert_allclose(strip, last + (first - last) * np.exp(-0.8 * middles), atol=0.3)


def test_there_is_no_strip_of_a_band_that_was_not_read() -> None:
    assert modelled_labs(readings(((62.0, 4.0, 14.0),) * 3), "root", {}, 4.0, 8) == ()


def test_warmth_counts_from_where_the_curve_begins_and_levels_from_nothing() -> None:
    worn = readings(((62.0, 4.0, 14.0),) * 7)
    warmth, lightness = fit_place(worn, "end", WARMTH, {}), fit_place(worn, "end", LIGHTNESS, {})
    assert warmth is not None
    assert lightness is not None
    agreed = replace(NOTHING_AGREED, warmer=4.0, darkest=6.0, lightest=9.0, region="end")
    # by hand: 4 more than the 14 of all readings
    assert limit_heights(warmth, agreed, WARMTH, DEFAULT_SCALE) == [("above", pytest.approx(18.0, abs=0.2))]
    assert limit_heights(lightness, agreed, LIGHTNESS, DEFAULT_SCALE) == [
        ("above", DEFAULT_SCALE.lightness(9.0)),
        ("below", DEFAULT_SCALE.lightness(6.0)),
    ]
    assert limit_heights(warmth, NOTHING_AGREED, WARMTH, DEFAULT_SCALE) == []


def test_visits_are_counted_from_the_service_up_to_the_next_one() -> None:
    visits = [visit(days) for days in (90, 61, 30, 0, -20)]
    worn = readings(((62.0, 4.0, 14.0),) * 3)
    # a month has 30.4375 days
    assert visits_since(worn, visits) == pytest.approx([30 / 30.4375, 61 / 30.4375, 90 / 30.4375])
    ended = replace(worn, ended_on=date(2026, 1, 10) + timedelta(days=61))
    assert visits_since(ended, visits) == pytest.approx([30 / 30.4375, 61 / 30.4375])
