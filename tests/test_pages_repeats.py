"""Several photos of one state, without a browser: added at once, read together, one pointed at and left out."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import timedelta

import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest
from test_pages_harness import Filled, assert_no_failure, drawn_photo, measured, open_page, save_visit, sent, words
from test_pages_new_visit import client as client
from test_pages_new_visit import shown_draft

from tracker import workflow
from tracker.compare.photo_set import state_of
from tracker.maths.quantities import LabMeasured
from tracker.record.records import AFTER, BEFORE, PROGRESS, Client, PhotoRecord
from tracker.store import Store

pytest_plugins = ("test_pages_harness",)


def upload_several(test: AppTest, role: str, contents: list[bytes]) -> AppTest:
    key = next(uploader.key for uploader in test.file_uploader if uploader.key.startswith(f"upload-{role}-"))
    files = [(f"{number}.jpg", content, "image/jpeg") for number, content in enumerate(contents)]
    return test.file_uploader(key=key).set_value(files).run()


def confirm_all(test: AppTest, store: Store) -> AppTest:
    for photo in shown_draft(test, store).photos:
        test.session_state[f"marks-{photo.id}"] = sent()
    for role in (BEFORE, AFTER):
        for photo in shown_draft(test, store).photos:
            if photo.role == role:
                test.button(key=f"right-{role}").click().run()
    assert_no_failure(test)
    return test


def test_three_photos_each_are_read_together_and_one_can_be_left_out(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload_several(test, "before", [drawn_photo(40.0, seed=seed) for seed in (3, 4, 5)])
    assert_no_failure(test)
    # the second after photo is of other hair: far from the others
    upload_several(test, "after", [drawn_photo(tip, seed=seed) for tip, seed in ((62.0, 6), (80.0, 7), (62.5, 8))])
    assert [photo.role for photo in shown_draft(test, store).photos] == [BEFORE] * 3 + [AFTER] * 3
    test.button(key="to-marks").click().run()
    confirm_all(test, store)
    shown = words(test)
    assert "3 photos, read together" in shown
    assert "Photo 2 disagrees" in shown
    assert "limit" in shown
    odd = [photo for photo in shown_draft(test, store).photos if photo.role == AFTER][1]
    test.button(key=f"leave-{odd.id}").click().run()
    assert_no_failure(test)
    assert "Left out: photo 2" in words(test)
    assert "disagrees at the ends" in words(test)  # why it was left out stays beside it
    test.button(key="to-save").click().run()
    save_visit(test)
    assert_no_failure(test)
    [visit] = store.visits.of_client(client.id)
    kept = {photo.id: photo for photo in store.photos.find(visit_id=visit.id)}
    assert len(kept) == 6
    assert kept[odd.id].left_out is not None
    assert "limit" in kept[odd.id].left_out.why
    test.button(key=f"count-{odd.id}").click().run()
    assert_no_failure(test)
    assert store.photos.get(odd.id).left_out is None


def test_the_same_file_twice_is_no_repeat_and_a_bad_one_does_not_keep_the_others_out(
    store: Store, client: Client
) -> None:
    test = open_page("new_visit", client=client.id)
    upload_several(test, "before", [drawn_photo(40.0, seed=3), b"GIF89a", drawn_photo(40.0, seed=3)])
    assert_no_failure(test)
    assert len(shown_draft(test, store).photos) == 1
    assert "This photo is already in" in words(test)
    assert words(test).count('role="alert"') == 2
    upload_several(test, "after", [drawn_photo(40.0, seed=3)])
    assert len(shown_draft(test, store).photos) == 1


def test_a_photo_that_is_kept_already_is_no_new_photo(store: Store, client: Client) -> None:
    content = drawn_photo(40.0, seed=3)
    kept, _ = workflow.take_in(store, content, client_id=client.id, role=PROGRESS, light="daylight")
    store.photos.save(kept)
    test = open_page("new_visit", client=client.id)
    upload_several(test, "before", [content])
    assert "This photo has already been kept: Progress photo of the hair" in words(test)
    assert store.drafts.find(client.id) == []
    assert store.pictures.get(kept.file)


def test_photos_are_removed_one_by_one(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload_several(test, "before", [drawn_photo(40.0, seed=seed) for seed in (3, 4)])
    first, second = shown_draft(test, store).photos
    test.button(key=f"remove-{second.id}").click().run()
    assert [photo.id for photo in shown_draft(test, store).photos] == [first.id]
    test.button(key="remove-before").click().run()
    assert_no_failure(test)


def test_every_page_shows_the_combination(filled: Filled) -> None:
    store, visit = filled.store, filled.visit
    photos = store.photos.find(visit_id=visit.id)
    [after] = [photo for photo in photos if photo.role == AFTER]
    more = [
        replace(measured(store, filled.client, AFTER, tip, after.taken_at + timedelta(minutes=1)), visit_id=visit.id)
        for tip in (61.0, 63.0)
    ]
    store.visits.save(store.visits.get(visit.id), [*photos, *more])
    for name, query in (
        ("compare", {"visit": visit.id}),
        ("portfolio", {"visit": visit.id}),
        ("client", {"client": filled.client.id}),
        ("today", {}),
        ("portfolio", {}),
    ):
        assert_no_failure(open_page(name, **query))
    state = state_of(store.photos.find(visit_id=visit.id), AFTER, store.yardsticks.in_force().spread)
    assert state is not None
    assert state.reading is not None
    end = state.reading.region("end")
    assert end is not None
    assert end.photos == 3
    shown = words(open_page("compare", visit=visit.id))
    assert "3 photos, read together" in shown
    assert f"{end.lab.lab[0]:.1f}" in shown


def test_a_state_counts_what_has_a_number_and_was_not_left_out(filled: Filled) -> None:
    [after] = [photo for photo in filled.store.photos.find(visit_id=filled.visit.id) if photo.role == AFTER]
    other = replace(moved(after, 0.4), id="b" * 32, file="b" * 64)
    broken = replace(after, id="c" * 32, reading=None, failure="no card")
    state = state_of([after, broken, other], AFTER)
    assert state is not None
    assert [photo.id for photo in state.used] == [after.id, other.id]
    assert state.without_number == (broken,)
    assert state.odd == ()
    assert state_of([], AFTER) is None
    alone = state_of([broken], AFTER)
    assert alone is not None
    assert alone.reading is None
    assert alone.standing is broken


def moved(photo: PhotoRecord, lightness: float) -> PhotoRecord:
    """The photo with every band lighter by so much."""
    assert photo.reading is not None
    regions = tuple(
        replace(
            region,
            lab=LabMeasured(
                (region.lab.lab[0] + lightness, *region.lab.lab[1:]),
                region.lab.cov,
                region.lab.dof,
            ),
        )
        for region in photo.reading.regions
    )
    return replace(
        photo, reading=replace(photo.reading, regions=regions), taken_at=photo.taken_at + timedelta(minutes=1)
    )


def test_progress_photos_of_one_day_are_one_point_of_the_chart(filled: Filled) -> None:
    from tracker.workflow.wearing import client_wear

    [before] = client_wear(filled.store, filled.client.id)[1]
    last = filled.store.photos.get(before.photo_ids[-1])
    other = filled.store.pictures.put(b"another picture")
    again = replace(moved(last, 0.3), id="d" * 32, file=other, taken_at=last.taken_at + timedelta(minutes=5))
    filled.store.photos.save(again)
    [after] = client_wear(filled.store, filled.client.id)[1]
    for region in ("root", "mid", "end"):
        first, second = before.place(region), after.place(region)
        assert first is not None
        assert second is not None
        assert len(second.months) == len(first.months)
        # two photos of one state: their mean, half of the 0.3 away
        assert second.labs[-1][0] - first.labs[-1][0] == pytest.approx(0.15, abs=1e-6)


def test_a_copy_of_a_photo_is_pointed_out(store: Store, client: Client) -> None:
    content, again = drawn_photo(40.0, seed=3), io.BytesIO()
    with Image.open(io.BytesIO(content)) as picture:
        picture.save(again, "JPEG", quality=70)
    test = open_page("new_visit", client=client.id)
    upload_several(test, "before", [content, drawn_photo(40.0, seed=5)])
    assert "look like copies" not in words(test)
    upload_several(test, "before", [again.getvalue()])
    assert_no_failure(test)
    assert "look like copies of one photo" in words(test)
    assert len(shown_draft(test, store).photos) == 3  # pointed out, not refused: a tripod's repeats are as alike
