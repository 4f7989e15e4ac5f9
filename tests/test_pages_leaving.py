"""Leaving a visit and coming back, changing one that is kept, and two windows on one draft, without a browser."""

from __future__ import annotations

from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest
from test_pages_harness import Filled, assert_no_failure, drawn_photo, open_page, words
from test_pages_new_visit import client as client
from test_pages_new_visit import named, shown_draft, upload

from tracker.record.records import Client, Draft
from tracker.store import Store
from tracker.ui.parts.words import plain
from tracker.words import day

pytest_plugins = ("test_pages_harness",)


def keys(test: AppTest) -> list[str]:
    return [button.key for button in test.button]


def change(filled: Filled) -> tuple[AppTest, Draft]:
    """The page after "Change this visit", and its draft."""
    test = open_page("compare", visit=filled.visit.id)
    test.button(key=f"change-{filled.visit.id}").click().run()
    assert_no_failure(test)
    return test, shown_draft(test, filled.store)


def test_a_kept_visit_can_be_changed(filled: Filled) -> None:
    test, draft = change(filled)
    assert test.title[0].value == f"Change the visit of {day(filled.visit.on)}"
    test.text_area(key=f"visit-note-{draft.id}").set_value("changed").run()
    test.button(key="save").click().run()
    assert_no_failure(test)
    [visit] = filled.store.visits.of_client(filled.client.id)
    assert visit.note == "changed"
    assert visit.revision == 2


def test_the_photos_of_a_kept_visit_can_be_looked_at_again(filled: Filled) -> None:
    test, _ = change(filled)
    for key in ("to-photos", "to-marks", "right-before", "to-save"):
        test.button(key=key).click().run()
        assert_no_failure(test)
    assert "save" in keys(test)
    test.button(key="step-back").click().run()
    assert "to-save" in keys(test)


def test_changes_that_are_thrown_away_leave_the_visit_as_it_was(filled: Filled) -> None:
    test, draft = change(filled)
    assert "the visit stays as it was saved" in words(test)
    test.text_area(key=f"visit-note-{draft.id}").set_value("changed").run()
    test.button(key="discard").click().run()
    assert_no_failure(test)
    assert filled.store.visits.of_client(filled.client.id) == [filled.visit]
    assert "The changes were thrown away" in words(test)


def test_changes_that_wait_are_gone_on_with(filled: Filled) -> None:
    _, draft = change(filled)
    _, again = change(filled)
    assert again.id == draft.id
    today = words(open_page("today"))
    assert f"Changes to the visit of {day(filled.visit.on)}, left at save today at" in today.replace("\\", "")
    newer = replace(filled.visit, note="another window")
    filled.store.visits.save(newer, filled.store.photos.find(visit_id=newer.id))
    _, fresh = change(filled)
    assert fresh.id != draft.id


def test_what_waits_is_offered_before_something_new_is_begun(store: Store, client: Client) -> None:
    assert "Not finished yet" not in words(open_page("new_visit", client=client.id))
    test = open_page("new_visit", client=client.id)
    upload(test, "before", drawn_photo(40.0, seed=3))
    draft = shown_draft(test, store)
    again = open_page("new_visit", client=client.id)
    assert "Not finished yet" in words(again)
    assert f"left at photos today at {draft.updated_at.astimezone():%H:%M}" in words(again).replace("\\", "")
    assert f"/picture/{draft.photos[0].id}/" in words(again)
    again.button(key=f"continue-{draft.id}").click().run()
    assert_no_failure(again)
    assert shown_draft(again, store).id == draft.id
    # a progress photo is another job
    assert "Not finished yet" not in words(open_page("new_visit", client=client.id, kind="progress"))


def test_what_was_chosen_before_the_first_photo_stays(store: Store, client: Client) -> None:
    test = open_page("new_visit", client=client.id)
    test.pills(key=named(test.pills, "light-after")).set_value("fluorescent tubes").run()
    test.pills(key=named(test.pills, "light-before")).set_value("daylight").run()
    upload(test, "before", drawn_photo(40.0, seed=3))
    assert test.pills(key=named(test.pills, "light-after")).value == "fluorescent tubes"
    assert shown_draft(test, store).photos[0].light == "daylight"


def typed_in_a_second_window(draft: Draft) -> AppTest:
    test = open_page("new_visit", draft=draft.id)
    test.text_area(key=f"visit-note-{draft.id}").set_value("typed in the second window")
    return test


@pytest.mark.parametrize("saved", [True, False])
def test_a_second_window_says_what_became_of_a_new_visit(store: Store, client: Client, saved: bool) -> None:
    first = open_page("new_visit", client=client.id)
    first.button(key="without-photos").click().run()
    draft = shown_draft(first, store)
    second = typed_in_a_second_window(draft)
    if saved:
        first.pills(key=f"visit-services-{draft.id}").set_value(["cut"]).run()
        first.button(key="save").click().run()
        assert len(store.visits.of_client(client.id)) == 1
    else:
        store.drafts.delete(draft.id)
    second.button(key="save").click().run()
    assert_no_failure(second)
    assert ("This visit has already been saved" if saved else "was thrown away before it was saved") in words(second)
    assert "typed in the second window" in words(second)
    second.run()  # the fields are gone by now, the words are not
    assert "typed in the second window" in words(second)
    assert len(store.visits.of_client(client.id)) == saved
    assert store.drafts.find() == []


@pytest.mark.parametrize("saved", [True, False])
def test_a_second_window_says_what_became_of_changes(filled: Filled, saved: bool) -> None:
    first, draft = change(filled)
    second = typed_in_a_second_window(draft)
    if saved:
        first.text_area(key=f"visit-note-{draft.id}").set_value("first").run()
        first.button(key="save").click().run()
    else:
        filled.store.drafts.delete(draft.id)
    second.button(key="save").click().run()
    assert_no_failure(second)
    assert ("This visit has already been saved" if saved else "These changes were thrown away") in words(second)
    assert "typed in the second window" in words(second)
    assert plain(filled.visit.next_time) not in words(second)  # that is kept, so it need not be copied


def test_a_draft_that_this_window_never_showed(store: Store) -> None:
    test = open_page("new_visit", draft="0" * 32)
    assert_no_failure(test)
    assert "saved or thrown away" in words(test)
