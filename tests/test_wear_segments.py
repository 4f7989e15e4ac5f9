"""Which photos show how which service wears."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from tests.test_photo_set import record, row
from tracker.calibrate.calibration import Yardsticks
from tracker.measure.reading import RIBBON, WHOLE
from tracker.record.agreed import AgreedLimits
from tracker.record.records import AFTER, BEFORE, PROGRESS, PhotoRecord, Visit
from tracker.wear import agreed_at, due_of, kind_of, limits_in_force, readings_of, segments
from tracker.wear.segments import changes_colour

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


class TestAtTheVeryMoment:
    """A photo or a visit on exactly the border between two services belongs to one of them, and to one only."""

    NEXT = PHOTOS[5]  # the photo after the next service, the first of that visit

    def on(self, shot: PhotoRecord, moment: datetime) -> PhotoRecord:
        return replace(shot, taken_at=moment)

    def ids(self, photos: tuple[PhotoRecord, ...], visits: tuple[Visit, ...] = VISITS) -> list[list[str]]:
        """Photos of the older and of the newer service."""
        newest, oldest = segments(visits, photos)
        return [[each.id for each in segment.photos] for segment in (oldest, newest)]

    def test_a_photo_from_the_moment_the_next_service_begins_is_not_the_old_ones(self) -> None:
        # the next visit began with its first photo; from that moment on the old colour is not worn any more
        begin = PHOTOS[4].taken_at
        loose = self.on(photo("loose", 9, PROGRESS), begin)
        old, _ = self.ids((*PHOTOS, loose))
        assert "loose" not in old
        old, _ = self.ids((*PHOTOS, self.on(loose, begin - timedelta(seconds=1))))
        assert old[-2:] == ["loose", "worn"]

    def test_a_photo_from_the_moment_of_the_one_after_the_service_shows_its_wear(self) -> None:
        loose = self.on(photo("loose", 10, PROGRESS), self.NEXT.taken_at)
        old, new = self.ids((*PHOTOS, loose))
        assert "loose" not in old
        assert "loose" in new
        early = self.on(loose, self.NEXT.taken_at - timedelta(seconds=1))
        assert not any("loose" in each for each in self.ids((*PHOTOS, early)))

    def test_a_photo_before_a_visit_is_no_wear_if_it_is_not_later_than_the_one_after(self) -> None:
        # the same moment: it cannot show how a colour wore that was just photographed
        at_once = self.on(photo("at once", 10, BEFORE, "talk"), self.NEXT.taken_at)
        visits = (*VISITS, visit("talk", 10, "consultation"))
        assert "at once" not in self.ids((*PHOTOS, at_once), visits)[1]
        later = self.on(at_once, self.NEXT.taken_at + timedelta(seconds=1))
        assert "at once" in self.ids((*PHOTOS, later), visits)[1]

    def test_a_cut_on_the_day_of_the_next_service_still_shows_the_old_colour(self) -> None:
        # cut first, colour after, on one day: the photo before the cut shows ten weeks of wear
        visits = (*VISITS, visit("cut first", 10, "cut"))
        before_cut = self.on(photo("before the cut", 10, BEFORE, "cut first"), PHOTOS[4].taken_at - timedelta(hours=1))
        old, new = self.ids((*PHOTOS, before_cut), visits)
        assert old == ["after", "progress", "at the cut", "before the cut", "worn"]
        assert new == ["after again", "progress again"]

    def test_a_cut_on_the_day_of_the_service_itself_shows_its_colour(self) -> None:
        visits = (*VISITS, visit("cut later", 10, "cut"))
        at_cut = self.on(photo("at the later cut", 10, BEFORE, "cut later"), self.NEXT.taken_at + timedelta(hours=2))
        assert self.ids((*PHOTOS, at_cut), visits)[1] == ["after again", "at the later cut", "progress again"]

    def test_the_day_after_the_next_service_is_the_next_ones(self) -> None:
        following = replace(visit("cut", 10, "cut"), on=VISITS[2].on + timedelta(days=1), id="day after")
        shot = self.on(photo("a day after", 10, BEFORE, "day after"), self.NEXT.taken_at + timedelta(days=1))
        old, new = self.ids((*PHOTOS, shot), (*VISITS, following))
        assert "a day after" not in old
        assert "a day after" in new


def test_a_photo_without_a_number_is_left_out_and_listed() -> None:
    newest, oldest = segments(VISITS, PHOTOS)
    assert [each.id for each in oldest.left_out] == ["blurred"]
    assert newest.left_out == ()
    readings = readings_of(oldest)
    assert readings is not None
    assert (readings.left_out, readings.ended_on) == (("blurred",), VISITS[2].on)
    # two, four and ten weeks in months of 30.4375 days, from 14 o'clock to 12 or 10 o'clock
    assert [round(month, 2) for month in readings.places[0].months] == [0.0, 0.46, 0.91, 2.29]


def over_the_whole(shot: PhotoRecord) -> PhotoRecord:
    assert shot.reading is not None
    return replace(shot, reading=replace(shot.reading, hair=WHOLE))


def test_a_service_keeps_to_the_way_in_which_the_hair_right_after_it_was_read() -> None:
    # the photo after the first service and one later were measured again; the second service was not
    mixed = [over_the_whole(shot) if shot.id in ("after", "at the cut", "progress again") else shot for shot in PHOTOS]
    newest, oldest = segments(VISITS, mixed)
    assert [each.id for each in oldest.photos] == ["after", "at the cut"]
    assert [each.id for each in oldest.otherwise] == ["progress", "worn"]
    assert [each.id for each in newest.photos] == ["after again"]
    assert [each.id for each in newest.otherwise] == ["progress again"]
    found = readings_of(oldest), readings_of(newest)
    assert [(each.hair, each.otherwise) for each in found if each is not None] == [
        (WHOLE, ("progress", "worn")),
        (RIBBON, ("progress again",)),
    ]
    assert [each.occasions for each in found if each is not None] == [2, 1]
    assert not any(each.otherwise for each in segments(VISITS, PHOTOS))


def test_of_one_days_photos_those_count_that_were_read_like_the_first() -> None:
    twin = over_the_whole(replace(photo("twin", 2, PROGRESS), file="another"))
    _, oldest = segments(VISITS, (*PHOTOS, twin))
    assert [each.id for each in oldest.photos] == ["after", "progress", "at the cut", "worn"]
    assert [each.id for each in oldest.otherwise] == ["twin"]


def test_limits_agreed_along_a_ribbon_wait_to_be_confirmed_once_the_whole_hair_is_read() -> None:
    def waits(limits: AgreedLimits, *shots: PhotoRecord) -> bool:
        visits = (replace(VISITS[0], limits=limits),)
        [segment] = segments(visits, shots)
        return due_of("c", visits, segment, readings_of(segment), Yardsticks(), {}).to_confirm

    ribbon, whole = PHOTOS[:2], tuple(over_the_whole(shot) for shot in PHOTOS[:2])
    assert not waits(AgreedLimits(warmer=5.0), *ribbon)
    assert waits(AgreedLimits(warmer=5.0), *whole)
    assert waits(AgreedLimits(darkest=5.0), *whole)
    assert not waits(AgreedLimits(warmer=5.0, hair=WHOLE), *whole)
    assert not waits(AgreedLimits(root_mm=20.0), *whole)  # a length, however the colour is read
    assert not waits(AgreedLimits(), *whole)


def test_the_visit_at_which_the_limits_in_force_were_agreed() -> None:
    at_cut = replace(VISITS[1], limits=AgreedLimits(warmer=3.0))
    visits = (at_cut, replace(VISITS[0], limits=AgreedLimits(warmer=5.0)))
    assert agreed_at(visits) == at_cut
    assert limits_in_force(visits) == (visits[1], at_cut.limits)
    assert agreed_at(visits[1:]) == visits[1]
    before = replace(visits[1], id="before", on=date(2025, 1, 1))
    assert agreed_at((replace(VISITS[2]), before)) is None  # a later service has limits of its own, or none


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
