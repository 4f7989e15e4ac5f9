"""What the person sees of a change: the sentence to read aloud, the charts, warnings before saving, the card's size."""

from __future__ import annotations

import io
import json
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image
from scenes import ribbon
from streamlit.testing.v1 import AppTest
from test_pages_harness import (
    Filled,
    assert_no_failure,
    drawn_photo,
    measured,
    open_page,
    save_visit,
    sent,
    words,
)
from test_pages_new_visit import look_right, shown_draft, upload

from tracker import workflow
from tracker.measure import CARD_KINDS
from tracker.record.records import MEASURING, Client
from tracker.store import Store
from tracker.ui.look import drawing
from tracker.ui.parts.pictures import aligned_url
from tracker.ui.parts.words import plain

pytest_plugins = ("test_pages_harness",)


@pytest.fixture
def client(store: Store) -> Client:
    return workflow.add_client(store, "Ada", "", {MEASURING: True}, "me")


def blurred(content: bytes, sigma: float = 9.0) -> bytes:
    codes = np.asarray(Image.open(io.BytesIO(content)))
    stream = io.BytesIO()
    Image.fromarray(cv2.GaussianBlur(codes, (0, 0), sigma)).save(stream, "JPEG", quality=95)
    return stream.getvalue()


def to_result(store: Store, client: Client, before: bytes, after: bytes) -> AppTest:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", before)
    upload(test, "after", after)
    test.button(key="to-marks").click().run()
    look_right(test, store, "before")
    look_right(test, store, "after")
    assert_no_failure(test)
    return test


def test_compare_says_it_aloud_and_shows_the_charts(filled: Filled) -> None:
    test = open_page("compare", visit=filled.visit.id)
    assert_no_failure(test)
    said = words(test)
    assert "To read aloud" in said
    assert "Your ends are about" in said
    assert "We are sure that" in said
    assert "lightness of the lights" in said
    assert "Steepest" not in said
    assert "The lightening starts at" in said
    assert "Note the size of your card" in said


def test_the_portfolio_does_not_talk_to_another_client(filled: Filled) -> None:
    test = open_page("portfolio", visit=filled.visit.id)
    assert_no_failure(test)
    assert "To read aloud" not in words(test)
    assert "Your ends" not in words(test)
    for note in ("assumed to be the same", "of each should settle it", "Note the size of your card", "Move the path"):
        assert note not in words(test), note
    assert "too close to call" in words(test)


def test_looking_closer_is_a_step_of_its_own_in_the_address(filled: Filled) -> None:
    test = open_page("portfolio")
    test.button(key=f"closer-{filled.visit.id}").click().run()
    assert_no_failure(test)
    assert filled.visit.id in test.query_params["visit"]
    test.button(key="portfolio-back").click().run()
    assert "visit" not in test.query_params


def test_the_table_of_a_result_leaves_out_what_cannot_be_told(filled: Filled) -> None:
    table = next(each.value for each in open_page("compare", visit=filled.visit.id).markdown if "| Level" in each.value)
    rows = [line for line in table.splitlines() if line.startswith("| Undertone")]
    assert all(any(cell.strip() != "unsure" for cell in row.split("|")[2:-1]) for row in rows)


def test_the_method_says_whether_a_ribbon_or_all_of_the_hair_was_read(filled: Filled) -> None:
    said = words(open_page("compare", visit=filled.visit.id))
    assert "All of the hair inside its outline was read" in said
    assert "lights and lows alike" in said
    assert "by rule" not in said
    store = filled.store
    old = [workflow.measure_record(store, photo, ribbon()) for photo in store.photos.find(visit_id=filled.visit.id)]
    store.visits.save(filled.visit, old)
    said = words(open_page("compare", visit=filled.visit.id))
    assert "A narrow ribbon along the hair was read" in said
    assert plain("lightest 10 % and darkest 10 %, by rule") in said
    assert "inside the outline" not in said
    assert "never are" in said
    assert "clean hair" not in said


def test_good_photos_bring_no_warning(store: Store, client: Client) -> None:
    test = to_result(store, client, drawn_photo(40.0, seed=3), drawn_photo(62.0, seed=4))
    assert "Before you save" not in words(test)


def flashed(content: bytes) -> bytes:
    """The photo as from a phone whose flash fired."""
    tags, out = Image.Exif(), io.BytesIO()
    tags.get_ifd(0x8769)[0x9209] = 1  # CIPA DC-008: Flash, bit 0 = fired
    with Image.open(io.BytesIO(content)) as drawn:
        drawn.save(out, "JPEG", quality=95, exif=tags)
    return out.getvalue()


def test_a_photo_with_flash_is_pointed_at_as_soon_as_it_is_added(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", flashed(drawn_photo(40.0, seed=3)))
    assert "The flash fired" in words(test)


def test_a_photo_with_flash_is_pointed_at_before_saving(store: Store, client: Client) -> None:
    said = words(to_result(store, client, drawn_photo(40.0, seed=3), flashed(drawn_photo(62.0, seed=4))))
    assert "Before you save: 1 thing to look at" in said
    assert "After photo" in said
    assert "The flash fired" in said
    assert "Take the photo again without flash." in said


def test_a_blurred_photo_is_pointed_at_before_saving_and_can_be_saved(store: Store, client: Client) -> None:
    test = to_result(store, client, drawn_photo(40.0, seed=3), blurred(drawn_photo(62.0, seed=4)))
    said = words(test)
    assert "Before you save: 1 thing to look at" in said
    assert "After photo" in said
    assert "blurred" in said
    assert "tap on the hair" in said
    test.button(key="to-save").click().run()
    save_visit(test)
    assert_no_failure(test)
    [visit] = store.visits.of_client(client.id)
    assert all(photo.reading is not None and photo.reading.ok for photo in store.photos.find(visit_id=visit.id))


def test_a_framing_unlike_the_last_visit_is_pointed_at(filled: Filled) -> None:
    small = np.full((1100, 900, 3), 150, np.uint8)
    codes = np.asarray(Image.open(io.BytesIO(drawn_photo(50.0, seed=7))))
    half = cv2.resize(codes, (540, 660), interpolation=cv2.INTER_AREA)
    small[300:960, 340:880] = half
    stream = io.BytesIO()
    Image.fromarray(small).save(stream, "JPEG", quality=95)
    test = open_page("new_visit", client=filled.client.id, kind="progress")
    upload(test, "progress", stream.getvalue())
    test.button(key="to-marks").click().run()
    photo = shown_draft(test, filled.store).photos[0]

    def put(points: Any) -> list[list[float]]:
        return [[340 + 0.6 * x, 300 + 0.6 * y] for x, y in points]

    placed = {name: put(points) for name, points in sent()["value"].items() if name != "rev"}
    test.session_state[f"marks-{photo.id}"] = sent(**placed)
    test.button(key="right-progress").click().run()
    assert_no_failure(test)
    said = words(test)
    assert "smaller in the photo than last time" in said
    assert "Stand closer, as last time." in said


def test_the_guide_opens_and_is_reached_from_both_pages(store: Store, client: Client) -> None:
    guide = open_page("photo_guide", client=client.id)
    assert_no_failure(guide)
    said = words(guide)
    steps = ("metre", "third of the way", "comb", "plain wall", "Daylight")
    locked = ("Press and hold on the card", "locked", "no zoom", "portrait and night mode off", "same settings")
    for part in (*steps, *locked, "over the back", "comb the hair anew", "card up again"):
        assert part in said
    for test in (open_page("studio"), open_page("new_visit", client=client.id)):
        links = [json.dumps(element.proto.page) for element in test.get("page_link")]
        assert any("photo" in link for link in links)


def test_how_to_make_a_two_part_card_is_reached_from_the_guide_and_from_studio(store: Store) -> None:
    guide = open_page("card_guide")
    assert_no_failure(guide)
    said = words(guide)
    halves = ("grey above, black below", "without a gap", "same size", "Always use this same card")
    for part in (*halves, "turns lighter when tilted is glossy", "White is not needed"):
        assert part in plain(said)
    assert CARD_KINDS["steps2"].title in said  # the name by which it is chosen
    for test in (open_page("photo_guide"), open_page("studio")):
        links = [json.dumps(element.proto.page) for element in test.get("page_link")]
        assert any("card-guide" in link for link in links)


def test_the_drawing_of_the_card_has_its_true_greys() -> None:
    # IEC 61966-2-1: the codes of 18 % and 5 % of white
    for reflectance in (0.18, 0.05):
        code = round(255 * (1.055 * reflectance ** (1 / 2.4) - 0.055))
        assert f'fill="#{code:02x}{code:02x}{code:02x}"' in drawing("two part")


def test_the_size_of_the_card_is_kept_and_goes_with_the_photos(store: Store, client: Client) -> None:
    test = open_page("studio")
    assert "size not noted" in json.dumps([expander.label for expander in test.expander])
    test.number_input(key="card-width-grey18").set_value(100.0)
    test.number_input(key="card-height-grey18").set_value(140.0).run()
    test.button(key="card-keep-grey18").click().run()
    assert_no_failure(test)
    assert workflow.card_size(store, "grey18") == (100.0, 140.0)
    assert workflow.card_size(store, "steps3") is None
    page = open_page("new_visit", client=client.id)
    upload(page, "before", drawn_photo(40.0))
    assert shown_draft(page, store).photos[0].marks.size_mm == (100.0, 140.0)
    test.button(key="card-forget-grey18").click().run()
    assert workflow.card_size(store, "grey18") is None


def test_a_damaged_size_is_no_size(store: Store) -> None:
    for damaged in ({"grey18": "large"}, {"grey18": [1]}, {"grey18": None}, [84, 116], "x"):
        store.settings.put("card_size_mm", damaged)
        assert workflow.card_size(store, "grey18") is None
    workflow.note_card_size(store, "grey18", (84.0, 116.0))
    assert workflow.card_size(store, "grey18") == (84.0, 116.0)


def test_photos_of_one_client_are_laid_on_each_other(filled: Filled) -> None:
    from datetime import UTC, datetime

    before, after = filled.store.photos.find(visit_id=filled.visit.id)
    address = aligned_url(after, before)
    assert address is not None
    assert address.startswith(f"/picture/{after.id}/aligned/1600.jpg?to={before.id}&v=")
    unmarked = measured(filled.store, filled.client, "progress", 50.0, datetime(2026, 1, 1, tzinfo=UTC))
    assert aligned_url(after, unmarked) is not None
