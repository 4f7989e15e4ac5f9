"""The main job without a browser: photos, marks, result, save; leaving it and coming back."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
import streamlit as st
from PIL import Image
from streamlit.runtime.scriptrunner import RerunData, get_script_run_ctx
from streamlit.testing.v1 import AppTest
from test_pages_harness import (
    NASTY,
    Filled,
    assert_no_failure,
    drawn_photo,
    open_page,
    sent,
    words,
)

from tracker import workflow
from tracker.errors import InvalidMarks
from tracker.record.records import MEASURING, Client, Visit
from tracker.store import Store
from tracker.ui.pages.new_visit import photos
from tracker.ui.pages.new_visit.draft_state import Adding
from tracker.ui.parts.held import key_of
from tracker.words import as_date

pytest_plugins = ("test_pages_harness",)


@pytest.fixture
def client(store: Store) -> Client:
    """Somebody who agreed to be measured."""
    return workflow.add_client(store, "Cleo", "", {MEASURING: True}, "me")


def upload(test: AppTest, role: str, content: bytes, name: str = "photo.jpg") -> AppTest:
    """Hand a file to the uploader that is there now for this role."""
    key = next(uploader.key for uploader in test.file_uploader if uploader.key.startswith(f"upload-{role}-"))
    return test.file_uploader(key=key).set_value([(name, content, "image/jpeg")]).run()


def named(fields: Any, start: str, end: str = "") -> str:
    """The key of the field that is called so: each draft has fields of its own."""
    return next(str(field.key) for field in fields if field.key.startswith(start) and field.key.endswith(end))


def shown_draft(test: AppTest, store: Store) -> Any:
    """The draft that the page's address carries."""
    draft_id = test.query_params["draft"]
    return store.drafts.get(draft_id if isinstance(draft_id, str) else draft_id[0])


def look_right(test: AppTest, store: Store, role: str) -> AppTest:
    """Put the marks where they fit, as a drag would, and confirm them."""
    photo = next(photo for photo in shown_draft(test, store).photos if photo.role == role)
    test.session_state[f"marks-{photo.id}"] = sent()
    return test.button(key=f"right-{role}").click().run()


def test_the_whole_job(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0, seed=3))
    assert "needs both" in words(test)
    upload(test, "after", drawn_photo(62.0, seed=4))
    assert_no_failure(test)
    test.button(key="to-marks").click().run()
    assert_no_failure(test)
    look_right(test, store, "before")
    look_right(test, store, "after")
    assert_no_failure(test)
    assert "lighter, by " in test.subheader[0].value
    test.button(key="to-save").click().run()
    draft = shown_draft(test, store)
    test.pills(key=f"visit-services-{draft.id}").set_value(["toner"])
    test.text_area(key=f"visit-note-{draft.id}").set_value(NASTY[3])
    test.button(key=f"steps-{draft.id}-add").click().run()
    test.pills(key=f"steps-{draft.id}-0-1-what").set_value("other").run()
    test.text_input(key=f"steps-{draft.id}-0-1-what-own").set_value(NASTY[1]).run()
    assert "allergy test 48 hours" in words(test)
    test.button(key="save").click().run()
    assert_no_failure(test)
    [visit] = store.visits.of_client(client.id)
    assert visit.services == ("toner",)
    assert visit.note == NASTY[3]
    assert [step.what for step in visit.steps] == [NASTY[1]]
    assert store.drafts.find() == []
    assert test.session_state["page-shown"] == "compare"


@pytest.mark.parametrize("content", [b"GIF89a not a photo", b"", b"<svg onload=alert(1)>", drawn_photo(50.0)[:900]])
def test_what_is_no_photo_is_said_beside_it_and_nothing_is_kept(
    store: Store,
    client: Client,
    content: bytes,
) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", content)
    assert_no_failure(test)
    assert any('role="alert"' in block.value for block in test.html)
    assert store.drafts.find() == []


# promise 31: a picture that no record names would outlive an erasure
@pytest.mark.parametrize("why", ["taken back", "search failed"])
def test_a_photo_that_comes_to_nothing_while_it_is_taken_in_leaves_no_picture(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    search = workflow.suggest_marks

    def meanwhile(*args: Any, **kwargs: Any) -> Any:
        if why == "search failed":
            raise InvalidMarks("There is no such card.")
        workflow.answer_consent(store, client.id, MEASURING, False, "me")
        return search(*args, **kwargs)

    test = open_page("new_visit", client=client.id)
    monkeypatch.setattr(workflow, "suggest_marks", meanwhile)
    upload(test, "before", drawn_photo(40.0))
    assert store.drafts.find() == []
    assert store.database.pictures.sizes() == {}


def test_leaving_keeps_a_draft_with_what_was_typed(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "after", drawn_photo(62.0))
    test.button(key="to-marks").click().run()
    look_right(test, store, "after")
    assert "Without a before photo there is no lift" in words(test)
    test.button(key="to-save").click().run()
    draft = shown_draft(test, store)
    test.text_area(key=f"visit-next-{draft.id}").set_value("go slower").run()
    test.text_area(key=f"visit-note-{draft.id}").set_value("and softer").run()

    again = open_page("new_visit", draft=draft.id)
    assert_no_failure(again)
    assert again.text_area(key=f"visit-next-{draft.id}").value == "go slower"
    assert again.text_area(key=f"visit-note-{draft.id}").value == "and softer"
    assert "Waiting for you" in words(open_page("today"))


@pytest.mark.parametrize("kind", ["grey18", "chart24"])
def test_a_wall_where_the_corners_began_is_not_measured_as_a_card(store: Store, client: Client, kind: str) -> None:
    grey = Image.new("RGB", (600, 800), (150, 150, 150))
    grey.paste((70, 50, 40), (150, 100, 350, 700))
    written = io.BytesIO()
    grey.save(written, "JPEG", quality=95)
    test = open_page("new_visit", client=client.id)
    test.radio(key=named(test.radio, "card-", "-kind")).set_value(kind).run()
    upload(test, "before", written.getvalue())
    test.button(key="to-marks").click().run()
    assert test.button(key="right-before").disabled
    test.button(key="without-before").click().run()
    assert_no_failure(test)
    [photo] = shown_draft(test, store).photos
    assert photo.reading is None
    assert photo.failure is not None
    assert "No card of this kind stands clear" in photo.failure
    assert "No number" in words(test)


def test_a_photo_without_a_number_can_still_be_saved(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0))
    test.button(key="to-marks").click().run()
    [photo] = shown_draft(test, store).photos
    tiny = [[10.0, 10.0], [14.0, 10.0], [14.0, 14.0], [10.0, 14.0]]
    test.session_state[f"marks-{photo.id}"] = sent(corners=tiny)
    test.button(key="right-before").click().run()  # pressed before the page knew of the corners
    assert_no_failure(test)
    assert shown_draft(test, store).photos[0].reading is None
    assert "too small in the photo" in words(test)
    assert test.button(key="right-before").disabled
    test.button(key="without-before").click().run()
    test.button(key="to-save").click().run()
    test.button(key="save").click().run()
    assert "No service is chosen" in words(test)
    assert store.visits.of_client(client.id) == []
    test.button(key="save-unserved").click().run()
    assert_no_failure(test)
    [visit] = store.visits.of_client(client.id)
    [kept] = store.photos.find(visit_id=visit.id)
    assert kept.failure
    assert "No number" in words(test)


def test_a_progress_photo_joins_the_current_service(filled: Filled) -> None:
    before = len(filled.store.photos.find(client_id=filled.client.id))
    test = open_page("new_visit", client=filled.client.id, kind="progress")
    upload(test, "progress", drawn_photo(57.0))
    test.button(key="to-marks").click().run()
    look_right(test, filled.store, "progress")
    test.button(key="to-save").click().run()
    test.button(key="save").click().run()
    assert_no_failure(test)
    assert test.session_state["page-shown"] == "client"
    assert len(filled.store.photos.find(client_id=filled.client.id)) == before + 1


def test_another_light_or_card_is_followed_by_photos_already_in(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0))
    test.pills(key=named(test.pills, "light-before")).set_value("salon lamps").run()
    test.radio(key=named(test.radio, "card-", "-kind")).set_value("steps3").run()
    test.number_input(key=named(test.number_input, "card-", "-reflectance")).set_value(20.0).run()
    assert_no_failure(test)
    [photo] = shown_draft(test, store).photos
    assert photo.light == "salon lamps"
    assert photo.marks.card_kind == "steps3"
    assert photo.marks.reflectance == pytest.approx(0.2)


def test_before_and_after_may_have_lights_of_their_own(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0))
    test.pills(key=named(test.pills, "light-before")).set_value("salon lamps").run()
    upload(test, "after", drawn_photo(57.0))
    test.pills(key=named(test.pills, "light-after")).set_value("daylight").run()
    assert_no_failure(test)
    assert {photo.role: photo.light for photo in shown_draft(test, store).photos} == {
        "before": "salon lamps",
        "after": "daylight",
    }


def test_another_light_changes_how_sure_a_measured_photo_is(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0))
    test.button(key="to-marks").click().run()
    test.button(key="right-before").click().run()
    [measured] = shown_draft(test, store).photos
    assert measured.reading is not None
    test.button(key="step-back").click().run()
    while not any(each.key.startswith("light-before") for each in test.pills):
        test.button(key="step-back").click().run()
    test.pills(key=named(test.pills, "light-before")).set_value("daylight").run()
    assert_no_failure(test)
    [noted] = shown_draft(test, store).photos
    assert noted.reading is not None
    assert noted.reading.regions[0].lab.u[2] < measured.reading.regions[0].lab.u[2]
    test.pills(key=named(test.pills, "light-before")).set_value("mixed light").run()
    [refused] = shown_draft(test, store).photos
    assert refused.failure is not None
    assert refused.failure.startswith("Two kinds of light")


def test_a_draft_can_be_thrown_away(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0))
    test.button(key="discard").click().run()
    assert_no_failure(test)
    assert store.drafts.find() == []
    test.button(key="undo").click().run()
    assert_no_failure(test)
    assert len(store.drafts.find()) == 1


def change_kept_visit(store: Store, visit: Visit) -> tuple[AppTest, str]:
    """The last step of changing a visit, and the draft's identifier."""
    draft = workflow.start_draft(store, visit.client_id, "visit", visit)
    workflow.keep_draft(store, replace(draft, step=3))
    return open_page("new_visit", draft=draft.id), draft.id


@pytest.mark.parametrize("noted", [True, False])
def test_photos_without_a_time_of_their_own_follow_the_day_of_the_visit(filled: Filled, noted: bool) -> None:
    store, visit = filled.store, filled.visit
    photos = [replace(photo, time_noted=noted) for photo in store.photos.find(visit_id=visit.id)]
    visit = store.visits.save(visit, photos)
    day = visit.on - timedelta(days=30)
    test, draft_id = change_kept_visit(store, visit)
    test.date_input(key=f"visit-on-{draft_id}").set_value(day).run()
    test.button(key="save").click().run()
    assert_no_failure(test)
    assert store.visits.get(visit.id).on == day
    kept = {as_date(photo.taken_at) for photo in store.photos.find(visit_id=visit.id)}
    assert kept == {visit.on if noted else day}


def test_a_visit_can_be_noted_without_photos_and_changed_later(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    test.button(key="without-photos").click().run()
    assert_no_failure(test)
    draft = shown_draft(test, store)
    test.text_area(key=f"visit-note-{draft.id}").set_value("cut only").run()
    test.button(key="save").click().run()
    test.button(key="save-unserved").click().run()
    assert_no_failure(test)
    [visit] = store.visits.of_client(client.id)
    assert visit.note == "cut only"
    again = workflow.start_draft(store, client.id, "visit", visit)
    test = open_page("new_visit", draft=again.id)
    test.button(key="without-photos").click().run()
    assert "save-unserved" not in [each.key for each in test.button]
    test.text_area(key=f"visit-note-{again.id}").set_value("cut and toner").run()
    test.button(key="save").click().run()
    assert_no_failure(test)
    assert [kept.note for kept in store.visits.of_client(client.id)] == ["cut and toner"]


def test_a_day_that_is_still_to_come_is_refused_beside_the_button(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    test.button(key="without-photos").click().run()
    draft = shown_draft(test, store)
    test.pills(key=f"visit-services-{draft.id}").set_value(["cut"]).run()
    test.date_input(key=f"visit-on-{draft.id}").set_value(date(2099, 11, 25)).run()
    test.button(key="save").click().run()
    assert_no_failure(test)
    assert "25 November 2099, which is in the future" in words(test)
    assert store.visits.of_client(client.id) == []
    test.date_input(key=f"visit-on-{draft.id}").set_value(date.today()).run()
    test.button(key="save").click().run()
    assert [visit.on for visit in store.visits.of_client(client.id)] == [date.today()]


def test_a_progress_photo_of_a_day_still_to_come_is_refused(filled: Filled) -> None:
    before = len(filled.store.photos.find(client_id=filled.client.id))
    test = open_page("new_visit", client=filled.client.id, kind="progress")
    upload(test, "progress", drawn_photo(57.0))
    test.button(key="to-marks").click().run()
    look_right(test, filled.store, "progress")
    test.button(key="to-save").click().run()
    test.date_input[0].set_value(date.today() + timedelta(days=1)).run()
    test.button(key="save").click().run()
    assert_no_failure(test)
    assert "in the future" in words(test)
    assert len(filled.store.photos.find(client_id=filled.client.id)) == before


def test_a_photo_that_is_too_small_is_pointed_out_at_once(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    tiny = io.BytesIO()
    with Image.open(io.BytesIO(drawn_photo(40.0))) as picture:
        picture.resize((120, 147)).save(tiny, "JPEG")
    upload(test, "before", tiny.getvalue())
    assert_no_failure(test)
    assert "120 × 147 pixels: too small" in words(test)


def test_with_the_before_photo_alone_the_next_thing_is_to_leave(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0, seed=3))
    assert "Leave now and come back with the after photo" in words(test)
    assert test.button(key="to-marks").proto.type == "secondary"
    upload(test, "after", drawn_photo(62.0, seed=4))
    assert "Leave now" not in words(test)
    assert test.button(key="to-marks").proto.type == "primary"
    # what follows the card in the page cannot be passed without seeing it
    order = [getattr(element, "key", None) for element in test.main]
    assert order.index(named(test.radio, "card-", "-kind")) < order.index("to-marks")


def test_photos_that_were_looked_at_are_marked_as_done(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0, seed=3))
    upload(test, "after", drawn_photo(62.0, seed=4))
    test.button(key="to-marks").click().run()
    look_right(test, store, "before")
    assert list(test.segmented_control[0].options) == ["Before, done", "After"]


def test_files_that_an_overlapping_run_took_in_are_not_taken_twice(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run that was told to end goes on reading until it next touches the page, while the next run has begun."""
    begun: list[Any] = []
    ask_photos = photos.ask_photos

    def ask(*given: Any, **named_: Any) -> Any:
        files = ask_photos(*given, **named_)
        if files and not begun:
            begun.append(workflow.start_draft(store, client.id, "visit"))
            how_far = st.session_state[key_of(Adding, client.id, "visit")]
            how_far.turns["before"] += 1
            how_far.draft = begun[0].id
        return files

    test = open_page("new_visit", client=client.id)
    monkeypatch.setattr(photos, "ask_photos", ask)
    upload(test, "before", drawn_photo(40.0, seed=3))
    assert_no_failure(test)
    assert store.disk.usage().pictures == 0
    assert shown_draft(test, store).id == begun[0].id
    upload(test, "after", drawn_photo(62.0, seed=4))
    assert [(draft.id, len(draft.photos)) for draft in store.drafts.find()] == [(begun[0].id, 1)]


@pytest.mark.parametrize("moment", ["reading", "kept"])
def test_a_run_that_is_cut_short_loses_no_photo(
    store: Store, client: Client, moment: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More files arrive while the first are read: Streamlit then ends the run wherever it next touches the page."""
    test = open_page("new_visit", client=client.id)
    once: list[bool] = []

    def cut_in_after(function: Any) -> Any:
        def call(*given: Any, **named_: Any) -> Any:
            found = function(*given, **named_)
            context = get_script_run_ctx()
            if not once and context is not None:
                once.append(True)
                asked = RerunData(query_string=f"client={client.id}", widget_states=test._tree.get_widget_states())
                assert context.script_requests.request_rerun(asked)
            return found

        return call

    uploaded = next(field for field in test.file_uploader if field.key.startswith("upload-before-"))
    uploaded.set_value([("photo.jpg", drawn_photo(40.0, seed=3), "image/jpeg")])
    if moment == "reading":
        monkeypatch.setattr(workflow, "suggest_marks", cut_in_after(workflow.suggest_marks))
    else:
        monkeypatch.setattr(photos, "let_go_of", cut_in_after(photos.let_go_of))
    test.run()
    assert once
    assert_no_failure(test)
    assert [len(draft.photos) for draft in store.drafts.find()] == [1]
    assert store.disk.usage().pictures == 1
    assert any(button.key == "remove-before" for button in test.button)
    upload(test, "after", drawn_photo(62.0, seed=4))
    assert [len(draft.photos) for draft in store.drafts.find()] == [2]
