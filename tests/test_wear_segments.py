"""Which photos show how which service wears."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from tests.test_states import record, row
from tracker.records import AFTER, BEFORE, PROGRESS, PhotoRecord, Visit
from tracker.wear import changes_colour, kind_of, readings_of, segments

FIRST = date(2026, 1, 10)


def visit(key: str, week: int, *services: str, **more: object) -> Visit:
    on = FIRST + timedelta(weeks=week)
    made = datetime(on.year, on.month, on.day, 18, tzinfo=UTC)
    return replace(Visit(key, "c", on, services, (), "", "", made), **more)  # type: ignore[arg-type]


def photo(key: str, week: int, role: str, visit_id: str | None = None, *, failed: bool = False) -> PhotoRecord:
    on = FIRST + timedelta(weeks=week)
    hour = {BEFORE: 10, AFTER: 14}.get(role, 12)
    kept = record(None) if failed else row(0.0)[0]
    return replace(
        kept, id=key, visit_id=visit_id, role=role, taken_at=datetime(on.year, on.month, on.day, hour, tzinfo=UTC)
    )


VISITS = (visit("toner", 0, "toner"), visit("cut", 4, "cut"), visit("again", 10, "toner"))
PHOTOS = (
    photo("after", 0, AFTER, "toner"),
    photo("progress", 2, PROGRESS),
    photo("at the cut", 4, BEFORE, "cut"),
    photo("blurred", 6, PROGRESS, failed=True),
    photo("worn", 10, BEFORE, "again"),
    photo("after again", 10, AFTER, "again"),
    photo("progress again", 12, PROGRESS),
)


def test_the_next_service_ends_one_and_a_cut_does_not() -> None:
    newest, oldest = segments(VISITS, PHOTOS)
    assert [(each.visit.id, each.ended_by and each.ended_by.id) for each in (newest, oldest)] == [
        ("again", None),
        ("toner", "again"),
    ]
    # the photo before the next service is the last one of this; the cut's belongs to it too
    assert [each.id for each in oldest.photos] == ["after", "progress", "at the cut", "worn"]
    assert [each.id for each in newest.photos] == ["after again", "progress again"]


def test_a_photo_without_a_number_is_left_out_and_listed() -> None:
    newest, oldest = segments(VISITS, PHOTOS)
    assert [each.id for each in oldest.left_out] == ["blurred"]
    assert newest.left_out == ()
    readings = readings_of(oldest)
    assert readings is not None
    assert (readings.left_out, readings.ended_on) == (("blurred",), VISITS[2].on)
    # two, four and ten weeks in months of 30.4375 days, from 14 o'clock to 12 or 10 o'clock
    assert [round(month, 2) for month in readings.places[0].months] == [0.0, 0.46, 0.91, 2.29]


def test_without_a_number_right_after_it_a_service_has_no_wear() -> None:
    failed = photo("after", 0, AFTER, "toner", failed=True)
    [segment] = segments(VISITS[:1], [failed, PHOTOS[1]])
    assert (segment.states, segment.begins) == ((), None)
    assert [each.id for each in segment.left_out] == ["after"]
    assert readings_of(segment) is None


def test_washes_are_those_told_last_before_the_next_service() -> None:
    told = (
        replace(VISITS[0], washes_per_week=3.0),
        replace(VISITS[1], washes_per_week=2.0),
        replace(VISITS[2], washes_per_week=5.0),
    )
    assert [segment.washes_per_week for segment in segments(told, PHOTOS)] == [5.0, 2.0]


def test_what_leaves_the_colour_as_it_is() -> None:
    assert not changes_colour(visit("v", 0, "Cut", "treatment", " consultation "))
    assert changes_colour(visit("v", 0, "cut", "toner"))
    assert changes_colour(visit("v", 0, "gloss"))
    assert changes_colour(visit("v", 0))
    assert kind_of(["cut", "Toner", "hand-painted  lightening", "gloss"]) == "hand-painted lightening + toner + gloss"
    assert kind_of(["cut"]) == ""
