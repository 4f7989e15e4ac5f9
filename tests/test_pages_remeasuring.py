"""Measuring again from the pages: what is offered, progress and cancel, and what is left for a person."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest
from scenes import ribbon
from streamlit.testing.v1 import AppTest
from test_pages_harness import Filled, assert_no_failure, open_page
from test_pages_harness import words as as_written

from tracker import METHOD_VERSION, workflow
from tracker.errors import HairInDoubt, StoreFull
from tracker.measure.hair import DOUBTS
from tracker.measure.reading import RIBBON, WHOLE
from tracker.record.agreed import AgreedLimits
from tracker.record.records import AFTER, MEASURING, PROGRESS, PhotoRecord
from tracker.store import Store
from tracker.ui import measuring_again
from tracker.workflow import photos, remeasuring
from tracker.workflow.wearing import client_wear

pytest_plugins = ("test_pages_harness",)


def words(test: AppTest) -> str:
    """Everything that the page says, as a person reads it."""
    return as_written(test).replace("\\", "")


@pytest.fixture
def older(filled: Filled) -> Filled:
    """The studio as an earlier version left it."""
    for photo in filled.store.photos.find():
        along = workflow.measure_record(filled.store, photo, ribbon())
        assert along.reading is not None
        filled.store.photos.save(replace(along, reading=replace(along.reading, method_version="1.2")))
    return filled


def hairs(store: Store) -> set[str]:
    return {photo.reading.hair for photo in store.photos.find() if photo.reading is not None}


def ended(store: Store) -> measuring_again.Run:
    """The run, once it is over."""
    run = measuring_again.latest(store)
    assert run is not None
    assert run.over.wait(60)
    return run


def of_role(store: Store, role: str) -> list[PhotoRecord]:
    return store.photos.find(role=role)


@pytest.mark.parametrize("name", ["client", "data"])
def test_all_in_one_go(older: Filled, name: str) -> None:
    store, query = older.store, {"client": older.client.id} if name == "client" else {}
    test = open_page(name, **query)
    assert "were measured by an earlier method" in words(test)
    test.button(key="measure-again").click().run()
    assert_no_failure(test)
    run = ended(store)
    assert (run.tally.measured, run.tally.total, run.problem) == (4, 4, None)
    assert hairs(store) == {WHOLE}
    test.run()
    assert_no_failure(test)
    assert "earlier method" not in words(open_page(name, **query))


def test_nothing_is_said_where_all_are_measured_by_the_method_in_force(filled: Filled) -> None:
    for name, query in (("client", {"client": filled.client.id}), ("data", {}), ("studio", {})):
        assert "earlier method" not in words(open_page(name, **query))


def test_the_studio_page_says_how_many_and_leads_there(older: Filled) -> None:
    assert "4 photos were measured by an earlier method." in words(open_page("studio"))


def test_progress_is_shown_and_cancel_stops_after_the_photo_in_hand(
    older: Filled, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = older.store
    begun, go_on, measure = threading.Event(), threading.Event(), remeasuring.measure_record

    def slowly(*given: object, **named: object) -> PhotoRecord:
        begun.set()
        assert go_on.wait(60)
        return measure(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(remeasuring, "measure_record", slowly)
    test = open_page("data")
    test.button(key="measure-again").click().run()
    assert begun.wait(60)
    # another window, on another page, sees it too, and cannot start a second one
    beside = open_page("client", client=older.client.id)
    assert_no_failure(beside)
    assert not [button for button in beside.button if button.key == "measure-again"]
    assert measuring_again.begin(store, None, "") is measuring_again.latest(store)
    beside.button(key="measure-again-cancel").click().run()
    assert_no_failure(beside)
    assert "Stops after the photo in hand" in words(beside)
    go_on.set()
    run = ended(store)
    assert (run.tally.measured, run.tally.total) == (1, 4)
    assert store.remeasuring.older(METHOD_VERSION).waiting == 3
    test = open_page("data")
    assert "3 photos were measured by an earlier method" in words(test)
    test.button(key="measure-again").click().run()
    assert ended(store).tally.measured == 3
    assert all(
        len(store.edits.find(record_id=photo.id)) == 2 for photo in store.photos.find()
    )  # the fixture's and this


def test_what_needs_a_person_leads_to_its_marks(older: Filled, monkeypatch: pytest.MonkeyPatch) -> None:
    store, found = older.store, photos.find_marks
    with monkeypatch.context() as patch:
        doubt = HairInDoubt(*DOUBTS["small"])
        patch.setattr(photos, "find_marks", lambda *given, **named: replace(found(*given, **named), doubt=doubt))
        test = open_page("client", client=older.client.id)
        test.button(key="measure-again").click().run()
        assert ended(store).tally.left == 4
    assert hairs(store) == {RIBBON}
    test = open_page("client", client=older.client.id)
    assert "4 photos need you to mark the hair." in words(test)
    assert "The hair is small in the photo." in words(test)
    assert not [button for button in test.button if button.key == "measure-again"]
    for photo in (of_role(store, AFTER)[0], of_role(store, PROGRESS)[0]):
        test = open_page("client", client=older.client.id)
        test.button(key=f"mark-{photo.id}").click().run()
        assert_no_failure(test)
        assert test.session_state["page-shown"] == "new_visit"
        [draft] = [each for each in store.drafts.find() if photo.id in {held.id for held in each.photos}]
        assert draft.step == 1
        assert store.photos.get(photo.id) == photo
    test = open_page("data")
    assert f"{older.client.name}: " in words(test)
    test.button(key="measure-again-retry").click().run()
    assert ended(store).tally.measured == 4
    assert "earlier method" not in words(open_page("data"))


def test_pictures_that_are_gone_and_clients_who_withdrew_are_said(older: Filled) -> None:
    store = older.store
    lost = of_role(store, PROGRESS)[0]
    store.pictures.path(lost.file).unlink()
    test = open_page("data")
    test.button(key="measure-again").click().run()
    assert (ended(store).tally.measured, ended(store).tally.left) == (3, 1)
    assert "1 photo cannot be read back" in words(open_page("data"))
    assert store.photos.get(lost.id) == lost
    workflow.answer_consent(store, older.client.id, MEASURING, given=False, by="me")
    for name, query in (("client", {"client": older.client.id}), ("data", {})):
        said = words(open_page(name, **query))
        assert "1 photo keeps its earlier reading" in said
        assert "not agree to being measured" in said


def test_what_ended_it_is_said(older: Filled, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_given: object, **_named: object) -> PhotoRecord:
        raise StoreFull("There is no room left.", "Make some.")

    monkeypatch.setattr(older.store.remeasuring, "save", full)
    test = open_page("data")
    test.button(key="measure-again").click().run()
    ended(older.store)
    test = open_page("data")
    assert_no_failure(test)
    assert "There is no room left." in words(test)
    assert [button for button in test.button if button.key == "measure-again"]


def whole(store: Store, *shots: PhotoRecord) -> None:
    for shot in shots:
        workflow.remeasure(store, shot.id)


def test_a_visit_read_in_two_ways_says_so_and_the_way_out(older: Filled) -> None:
    whole(older.store, *of_role(older.store, AFTER))
    test = open_page("compare", visit=older.visit.id)
    assert_no_failure(test)
    assert "One photo was measured along a ribbon, the other over the whole hair" in words(test)
    assert "less certain" not in words(test)
    others = open_page("portfolio", visit=older.visit.id)
    assert_no_failure(others)
    assert "measured in different ways" in words(others)
    for name, query in (("today", {}), ("client", {"client": older.client.id}), ("results", {}), ("portfolio", {})):
        assert_no_failure(open_page(name, **query))


def test_a_curve_says_which_photos_it_leaves_out(older: Filled) -> None:
    store = older.store
    first, second = of_role(store, PROGRESS)
    whole(store, *of_role(store, AFTER), first)
    said = words(open_page("client", client=older.client.id))
    assert "1 photo of this service (" in said
    assert ") is not in this curve: it was read along a ribbon, by the earlier method." in said
    whole(store, second)
    assert "not in this curve" not in words(open_page("client", client=older.client.id))


class TestLimits:
    """Limits agreed on photos read along a ribbon are shown once, when the whole hair is read."""

    def agreed(self, older: Filled) -> AgreedLimits:
        limits = AgreedLimits(warmer=5.0, darkest=4.0, region="end")
        workflow.agree_limits(older.store, older.visit.id, limits, 3.0, by="me")
        return limits

    def test_kept_with_one_press(self, older: Filled) -> None:
        store, limits = older.store, self.agreed(older)
        assert "These limits were agreed" not in words(open_page("client", client=older.client.id))
        whole(store, *store.photos.find())
        for name, query in (("client", {"client": older.client.id}), ("due", {})):
            test = open_page(name, **query)
            assert_no_failure(test)
            said = words(test)
            assert "These limits were agreed when photos were read along a ribbon: ends no more than 5 warmer" in said
            assert "Over the whole hair, the ends read level" in said
            assert "±" in said.partition("Over the whole hair")[2].partition("They hold")[0]
        before, _ = client_wear(store, older.client.id)
        assert before.to_confirm
        assert before.reasons  # they hold until then
        test.button(key=f"limits-keep-{older.client.id}").click().run()
        assert_no_failure(test)
        kept = store.visits.get(older.visit.id)
        assert (kept.limits, kept.washes_per_week) == (replace(limits, hair=WHOLE), 3.0)
        assert not client_wear(store, older.client.id)[0].to_confirm
        [edit, *_] = store.edits.find(record_id=older.visit.id)
        assert edit.before.limits == limits
        for name, query in (("client", {"client": older.client.id}), ("due", {})):
            assert "These limits were agreed" not in words(open_page(name, **query))
        assert "photos of the whole hair" in words(open_page("client", client=older.client.id))  # in the log

    def test_agreed_anew(self, older: Filled) -> None:
        store = older.store
        self.agreed(older)
        whole(store, *store.photos.find())
        test = open_page("client", client=older.client.id)
        test.button(key=f"limits-anew-{older.client.id}").click().run()
        assert_no_failure(test)
        kept = store.visits.get(older.visit.id)
        key = next(found.key for found in test.selectbox if str(found.key).endswith("darkest"))
        test.selectbox(key=key).set_value(5.0).run()
        test.button(key="keep-agreed").click().run()
        assert_no_failure(test)
        assert store.visits.get(older.visit.id).limits == replace(kept.limits, darkest=5.0, hair=WHOLE)
        assert not client_wear(store, older.client.id)[0].to_confirm

    def test_agreed_while_the_hair_is_read_along_a_ribbon_they_are_of_the_ribbon(self, older: Filled) -> None:
        self.agreed(older)
        test = open_page("client", client=older.client.id)
        key = next(found.key for found in test.selectbox if str(found.key).endswith("darkest"))
        test.selectbox(key=key).set_value(5.0).run()
        test.button(key="keep-agreed").click().run()
        assert older.store.visits.get(older.visit.id).limits.hair == RIBBON

    def test_changing_something_else_does_not_confirm_them(self, older: Filled) -> None:
        limits = self.agreed(older)
        draft = workflow.start_draft(older.store, older.client.id, "visit", older.store.visits.get(older.visit.id))
        test = open_page("new_visit", draft=draft.id)
        for _ in range(4):
            if any(button.key == "save" for button in test.button):
                break
            workflow.change_draft(older.store, draft.id, lambda kept: workflow.drafts.Change(replace(kept, step=3)))
            test = open_page("new_visit", draft=draft.id)
        test.button(key="save").click().run()
        assert_no_failure(test)
        assert older.store.visits.get(older.visit.id).limits == limits
