"""Records survive JSON both ways."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.maths.quantities import LabMeasured, Measured, matrix3
from tracker.measure.reading import (
    CardSummary,
    Check,
    Correction,
    Dropped,
    Marks,
    PhotoReading,
    ProfilePoint,
    RegionReading,
)
from tracker.record.mixing import Amount, Charge, PriceLine, Strength
from tracker.record.records import Client, Consent, Draft, PhotoRecord, Step, Visit, from_json, to_json

text = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
number = st.floats(-1e6, 1e6)
positive = st.floats(0, 1e6)
dofs = st.one_of(st.just(math.inf), st.floats(1, 500))
times = st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1)).map(lambda t: t.replace(tzinfo=UTC))
vector = st.tuples(number, number, number)
matrix = st.tuples(vector, vector, vector)
measured = st.builds(Measured, number, positive, text, dofs)
point = st.tuples(number, number)
corners = st.tuples(point, point, point, point)
marks = st.builds(Marks, text, st.none() | corners, st.lists(point, max_size=4).map(tuple), number, st.none() | number)
lab = st.builds(LabMeasured, vector, matrix, dofs)
dropped = st.builds(Dropped, number, number, number, number)
region = st.builds(
    RegionReading, text, lab, matrix, measured, measured, measured, st.none() | measured, st.integers(0), dropped
)
check = st.builds(Check, text, st.booleans(), number, number, text, text, text)
profile = st.builds(ProfilePoint, number, vector, number)
reading = st.builds(
    PhotoReading,
    text,
    st.builds(CardSummary, text, corners, vector, number, number),
    st.builds(Correction, text, vector, number, number, matrix),
    st.lists(region, max_size=2).map(tuple),
    st.lists(profile, max_size=2).map(tuple),
    st.lists(check, max_size=2).map(tuple),
)
photo = st.builds(
    PhotoRecord,
    id=text,
    client_id=text,
    visit_id=st.none() | text,
    role=text,
    taken_at=times,
    added_at=times,
    camera=st.none() | text,
    light=text,
    file=text,
    size=st.tuples(st.integers(1, 9999), st.integers(1, 9999)),
    marks=st.none() | marks,
    reading=st.none() | reading,
    failure=st.none() | text,
)
words = st.lists(text, max_size=2).map(tuple)
step = st.builds(
    Step,
    text,
    text,
    text,
    st.none() | number,
    text,
    st.none() | st.builds(Strength, number, text),
    text,
    st.none() | st.builds(Amount, number, text),
    words,
    text,
    text,
    st.lists(st.builds(Charge, text, text, number, text, number, text, number), max_size=2).map(tuple),
    st.none() | number,
)
price = st.builds(PriceLine, text, text, number, text, number, text, times)
visit = st.builds(
    Visit,
    text,
    text,
    st.dates(date(2000, 1, 1), date(2100, 1, 1)),
    st.lists(text, max_size=3).map(tuple),
    st.lists(step, max_size=3).map(tuple),
    text,
    text,
    times,
    st.integers(1, 99),
    text,
    text,
)
draft = st.builds(
    Draft, text, text, text, st.integers(0, 3), st.none() | visit, st.lists(photo, max_size=1).map(tuple), times
)
client = st.builds(Client, text, text, text, times, st.booleans())
consent = st.builds(Consent, text, text, text, st.booleans(), text, times, text)


@given(st.one_of(client, consent, visit, photo, price, draft, reading, marks, measured))
def test_records_survive_json_both_ways(record: object) -> None:
    assert from_json(type(record), to_json(record)) == record


@pytest.mark.parametrize("broken", ["", "{", "[]", '{"id": 1}', "null", '{"id":"a"},{"id":"b"}'])
def test_text_that_is_no_record_is_refused(broken: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        from_json(Client, broken)


@pytest.mark.parametrize(
    ("value", "u"), [(math.nan, 1.0), (1.0, math.nan), (1.0, -0.1), (math.inf, 1.0), (1.0, math.inf)]
)
def test_no_number_without_an_uncertainty(value: float, u: float) -> None:
    with pytest.raises(ValueError, match="finite value and uncertainty"):
        Measured(value, u)


def test_covariance_gives_standard_uncertainties() -> None:
    assert LabMeasured((1, 2, 3), matrix3([[4, 0, 0], [0, 9, 0], [0, 0, 0.25]])).u == (2.0, 3.0, 0.5)
