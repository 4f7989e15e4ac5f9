"""The dark half of the studio’s own card: given, kept, offered from its photos, and followed by new photos."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from photo_samples import jpeg
from scenes import CARD, marks, ribbon, scene
from test_pages_harness import Filled, assert_no_failure, drawn_photo, open_page, words
from test_pages_new_visit import named, shown_draft, upload
from test_two_part_card import steps, taken

from tracker import workflow
from tracker.calibrate.calibration import SCALE
from tracker.errors import InvalidEntry, InvalidMarks
from tracker.measure.reading import DarkHalf
from tracker.record.records import MEASURING, PROGRESS, Client, new_id
from tracker.store import Store
from tracker.workflow.cards import OwnDark, note_new_card, own_dark
from tracker.workflow.remeasuring import remeasure
from tracker.workflow.yardsticks import add_swatch

pytest_plugins = ("test_pages_harness",)


@pytest.fixture
def client(store: Store) -> Client:
    return workflow.add_client(store, "Ada", "", {MEASURING: True}, "me")


def photographed(filled: Filled, dark: float, taken_for: float, begin: datetime, visits: int = 10) -> None:
    """Progress photos of as many days with a two-part card, by a phone that shows nine tenths of the contrast."""
    rng = np.random.default_rng(round(1000 * dark))
    one = next(photo for photo in filled.store.photos.find(client_id=filled.client.id) if photo.reading is not None)
    assert one.reading is not None
    for visit in range(visits):
        power = 0.9 * math.exp(rng.normal(0.0, 0.03))
        card = replace(one.reading.card, kind="steps2", reflectance=0.18, dark=taken_for)
        exponent = math.log(0.18 / taken_for) / (power * math.log(0.18 / dark))
        correction = replace(one.reading.correction, kind="steps2", exponent=exponent)
        reading, when = replace(one.reading, card=card, correction=correction), begin + timedelta(days=visit)
        photo = replace(one, id=new_id(), visit_id=None, role=PROGRESS, taken_at=when, reading=reading, camera="Phone")
        filled.store.photos.save(photo)


def test_a_given_value_is_kept_and_goes_with_new_photos(store: Store, client: Client) -> None:
    test = open_page("studio")
    assert "Its dark half counts as 5 %, as is usual." in words(test)
    assert "Its black step counts as 3.5 %" in words(test)
    test.number_input(key="dark-own-steps2").set_value(4.6).run()
    test.button(key="dark-keep-steps2").click().run()
    assert_no_failure(test)
    assert workflow.dark_half(store, "steps2") == DarkHalf(0.046)
    assert workflow.dark_half(store, "steps3") is None
    assert "counts as 4.6 %, as you gave it on" in words(test)
    page = open_page("new_visit", client=client.id)
    page.radio(key=named(page.radio, "card-", "-kind")).set_value("steps2").run()
    upload(page, "before", drawn_photo(40.0))
    assert_no_failure(page)
    [photo] = shown_draft(page, store).photos
    assert photo.marks.dark_half == DarkHalf(0.046)
    # photos that are in keep theirs when the studio learns more
    workflow.note_dark_half(store, "steps2", DarkHalf(0.051, 0.002), 30)
    page = open_page("new_visit", client=client.id, draft=shown_draft(page, store).id)
    assert_no_failure(page)
    assert shown_draft(page, store).photos[0].marks.dark_half == DarkHalf(0.046)
    test = open_page("studio")
    assert "counts as 5.1 % (± 0.4), by 30 photos, since" in words(test)
    test.button(key="dark-forget-steps2").click().run()
    assert own_dark(store, "steps2") == OwnDark()


def test_a_value_for_one_visit_only(store: Store, client: Client) -> None:
    page = open_page("new_visit", client=client.id)
    assert not any(field.key.endswith("-dark") for field in page.number_input)
    page.radio(key=named(page.radio, "card-", "-kind")).set_value("steps2").run()
    assert "as long as it is the same for all of them" in words(page)
    page.number_input(key=named(page.number_input, "card-", "-dark")).set_value(4.2).run()
    upload(page, "before", drawn_photo(40.0))
    assert_no_failure(page)
    assert shown_draft(page, store).photos[0].marks.dark_half == DarkHalf(0.042)
    assert workflow.dark_half(store, "steps2") is None
    page.number_input(key=named(page.number_input, "card-", "-reflectance")).set_value(5.0)
    page.number_input(key=named(page.number_input, "card-", "-dark")).set_value(4.8).run()
    assert any("cannot reflect 0.048" in block.value for block in page.html)
    page.radio(key=named(page.radio, "card-", "-kind")).set_value("grey18").run()
    assert_no_failure(page)
    assert shown_draft(page, store).photos[0].marks.dark_half is None


def test_what_photos_tell_of_a_new_card_is_offered_and_never_used_unasked(filled: Filled) -> None:
    store = filled.store
    today = datetime.now(UTC)
    workflow.note_dark_half(store, "steps2", DarkHalf(0.046))
    photographed(filled, 0.046, 0.046, today - timedelta(days=60))
    assert workflow.learnt_dark(store, "steps2") is None  # one camera with one card tells too little
    assert "reads like" not in words(open_page("studio"))
    note_new_card(store, "steps2")
    assert workflow.learnt_dark(store, "steps2") is None
    photographed(filled, 0.056, 0.05, today + timedelta(minutes=5))
    assert workflow.dark_half(store, "steps2") is None
    learnt = workflow.learnt_dark(store, "steps2")
    assert learnt is not None
    assert learnt.known.u is not None
    assert abs(learnt.known.reflectance - 0.056) < 2 * learnt.known.u
    test = open_page("studio")
    said = f"{100 * learnt.known.reflectance:.1f} % (± {200 * learnt.known.u:.1f})"
    assert f"In 10 photos from 10 visits your dark half reads like {said}" in words(test)
    assert workflow.dark_half(store, "steps2") is None
    test.button(key="dark-use-steps2").click().run()
    assert_no_failure(test)
    kept = own_dark(store, "steps2")
    assert (kept.known, kept.photos) == (learnt.known, 10)
    assert kept.noted_at is not None
    assert "reads like" not in words(test)
    test.button(key="dark-new-steps2").click().run()
    assert own_dark(store, "steps2").earlier == learnt.known
    assert own_dark(store, "steps2").known is None


def test_what_cannot_be_kept_is_refused_and_what_is_damaged_counts_as_nothing(store: Store) -> None:
    with pytest.raises(InvalidMarks, match=r"0\.01 to 0\.12"):
        workflow.note_dark_half(store, "steps2", DarkHalf(0.3))
    with pytest.raises(InvalidEntry, match="no dark half"):
        workflow.note_dark_half(store, "grey18", DarkHalf(0.05))
    with pytest.raises(InvalidEntry, match="no dark half"):
        workflow.note_new_card(store, "chart24")
    for damaged in ({"steps2": "x"}, {"steps2": {"known": {"reflectance": 0.5}}}, {"steps2": [1]}, ["steps2"], 5):
        store.settings.put("card_dark", damaged)
        assert workflow.dark_half(store, "steps2") is None
        assert_no_failure(open_page("studio"))
    workflow.note_dark_half(store, "steps2", DarkHalf(0.046))
    assert workflow.dark_half(store, "steps2") == DarkHalf(0.046)


def test_measured_again_a_photo_keeps_the_dark_half_it_was_given(store: Store, client: Client) -> None:
    picture = taken(steps(scene(), 0.18, 0.046))
    record = workflow.take_in(store, jpeg(picture.encoded), client_id=client.id, role=PROGRESS, light="daylight")[0]
    for given in (replace(marks("steps2"), dark=0.046, dark_u=0.002), replace(ribbon("steps2"), dark=0.044)):
        photo = workflow.measure_record(store, record, given)
        assert photo.reading is not None, photo.failure
        store.photos.save(photo)
        again = remeasure(store, photo.id)
        assert again.marks is not None
        assert again.reading is not None
        assert again.marks.dark_half == given.dark_half
        assert again.reading.card.dark == given.dark


def test_photos_that_are_not_kept_follow_the_card_too(store: Store) -> None:
    content = jpeg(taken(steps(scene(), 0.18, 0.046)).encoded)
    photo = workflow.look_at(content, "steps2", dark=DarkHalf(0.046))
    assert photo.found.marks.dark_half == DarkHalf(0.046)
    given = replace(marks("steps2"), dark=0.046)
    assert workflow.look_again_at(photo, given, CARD, None).marks.dark_half == DarkHalf(0.046)
    reading, why = workflow.measure_passing(store, photo, given)
    assert reading is not None, why
    swatch = add_swatch(store, SCALE, reading, name="", level=6.0)
    assert swatch.kit.dark == 0.046
