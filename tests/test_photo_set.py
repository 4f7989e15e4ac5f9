"""Which photos of a state count, and what they say together."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.test_replicates import AT, lying, photos
from tracker.compare.photo_set import combined_state, leave_out, match_states, state_of, use_again
from tracker.measure.reading import RIBBON, WHOLE, Marks, PhotoReading
from tracker.measure.repeatability import PROVISIONAL
from tracker.record.records import AFTER, BEFORE, PhotoRecord, from_json, new_id, now, to_json
from tracker.said.colour import say_kits

MARKS = Marks("grey18", ((0, 0), (9, 0), (9, 9), (0, 9)), ((20, 0), (20, 90)), 8.0)
START = now()


def record(reading: PhotoReading | None, minute: int = 0, **more: object) -> PhotoRecord:
    taken = START + timedelta(minutes=minute)
    kept = PhotoRecord(
        new_id(), "c", "v", AFTER, taken, taken, "Maker", "daylight", new_id(), (100, 100), MARKS, reading
    )
    return replace(kept, **more)  # type: ignore[arg-type]


def row(*lightness: float) -> list[PhotoRecord]:
    readings = photos(np.array([AT + np.array([step, 0, 0]) for step in lightness]))
    return [record(reading, minute) for minute, reading in enumerate(readings)]


def lightness_of(kept: list[PhotoRecord]) -> float:
    state = state_of(kept, AFTER)
    assert state is not None
    assert state.reading is not None
    return state.reading.regions[0].lab.lab[0] - AT[0]


def test_the_state_is_the_mean_of_its_photos() -> None:
    assert lightness_of(row(0.3, -0.3, 0.6)) == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("notes", "shared"), [((True, True), 0.0), ((True, None), 0.36), ((False, False), 0.36), ((None, None), 0.36)]
)
def test_hair_was_combed_anew_where_every_photo_that_counts_says_so(
    notes: tuple[bool | None, ...], shared: float
) -> None:
    shots = lying(np.repeat(AT[None], 3, axis=0))
    kept = [
        record(shot, minute, combed_anew=note) for minute, (shot, note) in enumerate(zip(shots, notes, strict=False))
    ]
    kept.append(leave_out(record(shots[2], 9, combed_anew=None), "wet", now()))
    state = state_of(kept, AFTER)
    assert state is not None
    assert state.reading is not None
    assert state.reading.regions[0].laid_cov[0][0] == pytest.approx(shared)


def test_a_reading_kept_before_hair_was_told_apart_still_opens() -> None:
    kept = json.loads(to_json(record(lying(AT[None])[0])))
    del kept["reading"]["regions"][0]["laid_cov"]
    opened = from_json(PhotoRecord, json.dumps(kept))
    assert opened.reading is not None
    assert np.all(np.asarray(opened.reading.regions[0].laid_cov) == 0)


def test_photos_read_along_a_ribbon_and_over_the_whole_hair_are_never_one_reading() -> None:
    kept = row(0.0, 0.2, 9.0, 9.4)
    for index in (2, 3):
        reading = kept[index].reading
        assert reading is not None
        kept[index] = replace(kept[index], reading=replace(reading, hair=WHOLE))
    # the whole hair counts where there is any, in whatever order they were taken
    for photos_of in (kept, kept[::-1]):
        assert lightness_of(photos_of) == pytest.approx(9.2)
        state = state_of(photos_of, AFTER)
        assert state is not None
        assert (state.used, state.otherwise, state.without_number) == (tuple(kept[2:]), tuple(kept[:2]), ())
        assert state.odd == ()
    ribbon = combined_state(kept, hair=RIBBON)
    assert ribbon is not None
    assert ribbon.reading is not None
    assert (ribbon.used, ribbon.otherwise, ribbon.reading.hair) == (tuple(kept[:2]), tuple(kept[2:]), RIBBON)
    nothing = combined_state(kept[:2], hair=WHOLE)
    assert nothing is not None
    assert (nothing.used, nothing.reading, nothing.otherwise) == ((), None, tuple(kept[:2]))


def test_a_check_made_on_ribbons_does_not_say_how_photos_of_the_whole_hair_scatter() -> None:
    kept = row(0.0, 0.2)
    own = replace(PROVISIONAL, shared=(0.5, 0.3, 0.3), dof=3.0, provisional=False)
    whole = [replace(each, reading=replace(each.reading, hair=WHOLE)) for each in kept if each.reading is not None]
    assert combined_state(whole, own) == combined_state(whole, PROVISIONAL)
    assert combined_state(kept, own) != combined_state(kept, PROVISIONAL)


def test_a_photo_left_out_does_not_count_and_is_still_there() -> None:
    kept = row(0.0, 0.2, 9.0)
    state = state_of(kept, AFTER)
    assert state is not None
    assert [each.photo for each in state.odd] == [2]
    kept[2] = leave_out(kept[2], "wet", now())
    assert lightness_of(kept) == pytest.approx(0.1)
    less = state_of(kept, AFTER)
    assert less is not None
    assert less.left_out == (kept[2],)
    assert kept[2] not in less.used
    assert len(less.photos) == 3
    assert less.odd == ()
    kept[2] = use_again(kept[2])
    assert lightness_of(kept) == pytest.approx(9.2 / 3)


def test_the_same_picture_counts_once() -> None:
    kept = row(0.3, -0.3, 0.6)
    doubled = [*kept, record(kept[2].reading, 9, file=kept[2].file)]
    state = state_of(doubled, AFTER)
    assert state is not None
    assert (state.used, state.doubles) == (tuple(kept), (doubled[3],))
    assert lightness_of(doubled) == pytest.approx(0.2)
    doubled[2] = leave_out(kept[2], "hand in the picture", now())
    again = state_of(doubled, AFTER)
    assert again is not None
    assert again.doubles == ()
    assert again.used == (*kept[:2], doubled[3])


def test_photos_measured_by_different_versions_are_no_like_pair() -> None:
    [before], [after] = row(0.0), row(0.4)
    assert after.reading is not None
    older = replace(after, reading=replace(after.reading, method_version="0.9"))
    kits = [state_of([photo], AFTER) for photo in (before, after, older)]
    first, second, third = (kit for kit in kits if kit is not None)
    assert match_states(first, second).same
    apart = match_states(first, third)
    assert not apart.same
    assert "versions" in say_kits(apart)
    assert "0.9" in say_kits(apart)


def test_a_photo_without_a_number_does_not_count() -> None:
    kept = [*row(0.4, 0.6), record(None, 9)]
    assert lightness_of(kept) == pytest.approx(0.5)
    state = state_of(kept, AFTER)
    assert state is not None
    assert state.without_number == (kept[2],)


def test_only_photos_of_that_role_are_read_together() -> None:
    kept = row(0.0, 1.0)
    kept[1] = replace(kept[1], role=BEFORE)
    assert lightness_of(kept) == pytest.approx(0.0)
    assert state_of([], AFTER) is None


def test_a_card_of_another_reflectance_is_another_card() -> None:
    before = state_of([replace(each, role=BEFORE) for each in row(0.0)], BEFORE)
    [one] = row(0.0)
    assert one.reading is not None
    half = replace(one, reading=replace(one.reading, card=replace(one.reading.card, reflectance=0.5)))
    after = state_of([half], AFTER)
    assert before is not None
    assert after is not None
    match = match_states(before, after)
    assert not match.same
    assert "another card" in say_kits(match)


def test_one_photo_from_another_kit_makes_the_pair_unlike() -> None:
    before = state_of([replace(each, role=BEFORE) for each in row(0.0, 0.1)], BEFORE)
    same, other = row(0.0, 0.1), row(0.0, 0.1)
    other[1] = replace(other[1], camera="Another")
    assert before is not None
    for kept, alike in ((same, True), (other, False)):
        after = state_of(kept, AFTER)
        assert after is not None
        match = match_states(before, after)
        assert match.same is alike
        assert match.light == "daylight"
