"""Two tabs on one draft, without a browser: what each shows, what is kept, and how one takes over."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from scenes import marks
from streamlit.testing.v1 import AppTest
from test_pages_harness import Filled, assert_no_failure, drawn_photo, open_page, save_visit, sent, words
from test_pages_new_visit import client as client
from test_pages_new_visit import look_right, named, shown_draft, upload

from tracker import workflow
from tracker.record.records import Client, Draft, Visit, new_id, now
from tracker.store import Store

pytest_plugins = ("test_pages_harness",)


@pytest.fixture
def draft(store: Store, client: Client) -> Draft:
    """A visit at its last step, with a note."""
    begun = workflow.start_draft(store, client.id, "visit")
    visit = Visit(new_id(), client.id, date.today(), (), (), "as it was", "", now())
    return workflow.keep_draft(store, replace(begun, step=3, visit=visit))


def two(draft: Draft) -> tuple[AppTest, AppTest]:
    """Two tabs on it."""
    tabs = (open_page("new_visit", draft=draft.id), open_page("new_visit", draft=draft.id))
    for tab in tabs:
        assert_no_failure(tab)
    return tabs


def write(tab: AppTest, draft: Draft, text: str, name: str = "visit-note") -> AppTest:
    tab.text_area(key=field(tab, draft, name)).set_value(text).run()
    assert_no_failure(tab)
    return tab


def field(tab: AppTest, draft: Draft, name: str) -> str:
    return named(tab.text_area, f"{name}-{draft.id}")


def shown(tab: AppTest, draft: Draft, name: str = "visit-note") -> str:
    return str(tab.text_area(key=field(tab, draft, name)).value)


def kept(store: Store, draft: Draft) -> Visit:
    visit = store.drafts.get(draft.id).visit
    assert visit is not None
    return visit


def told(tab: AppTest) -> str:
    return words(tab).replace("\\", "")


def test_words_typed_while_the_other_tab_goes_to_another_step_are_kept(store: Store, draft: Draft) -> None:
    one, other = two(draft)
    other.button(key="step-back").click().run()
    assert store.drafts.get(draft.id).step != 3
    write(one, draft, "typed meanwhile")  # the tab that was not moved stays where it is
    assert kept(store, draft).note == "typed meanwhile" == shown(one, draft)
    assert store.drafts.get(draft.id).step != 3


def test_a_field_that_was_not_touched_follows_and_what_was_typed_beside_it_stays(store: Store, draft: Draft) -> None:
    one, other = two(draft)
    write(one, draft, "as it was, and more")
    write(other, draft, "in six weeks", "visit-next")
    assert (kept(store, draft).note, kept(store, draft).next_time) == ("as it was, and more", "in six weeks")
    assert shown(other, draft) == "as it was, and more"
    moment = store.drafts.get(draft.id).updated_at.astimezone()
    assert f"This draft was changed in another tab at {moment:%H:%M}:** note" in told(other)
    other.button(key="other-tab-seen").click().run()
    assert "another tab" not in told(other)
    one.run()
    assert shown(one, draft, "visit-next") == "in six weeks"


@pytest.mark.parametrize("choice", ["mine", "theirs"])
def test_of_a_note_that_both_changed_one_is_chosen_and_the_other_stays(
    store: Store, client: Client, draft: Draft, choice: str
) -> None:
    one, other = two(draft)
    write(one, draft, "words of one")
    write(other, draft, "words of the other")
    assert shown(other, draft) == "words of the other" == kept(store, draft).note
    assert "In the other tab:" in told(other)
    assert "words of one" in told(other)
    assert "Choose at the top of the page" in told(other)
    assert ["changed in another tab" in toast.value for toast in other.toast] == [True]
    other.button(key=f"other-tab-{choice}").click().run()
    assert_no_failure(other)
    expected = "words of the other" if choice == "mine" else "words of one"
    assert shown(other, draft) == expected == kept(store, draft).note
    assert "another tab" not in told(other)
    written = {line.before.visit.note for line in store.edits.find(record_id=draft.id)} | {kept(store, draft).note}
    assert written >= {"words of one", "words of the other"}
    page = told(open_page("client", client=client.id))
    assert "words or marks from one tab set aside" in page
    assert ("words of one" if choice == "mine" else "words of the other") in page


def test_a_tab_whose_words_were_replaced_is_told_and_takes_them_back(store: Store, draft: Draft) -> None:
    one, other = two(draft)
    write(one, draft, "words of one")
    write(other, draft, "words of the other")
    one.run()
    assert shown(one, draft) == "words of the other"
    assert "In this tab it was:" in told(one)
    assert "words of one" in told(one)
    one.button(key="other-tab-mine").click().run()
    assert shown(one, draft) == "words of one" == kept(store, draft).note
    assert "words of the other" in {line.before.visit.note for line in store.edits.find(record_id=draft.id)}


def test_steps_of_both_tabs_are_kept(store: Store, draft: Draft) -> None:
    one, other = two(draft)
    for tab in (one, other):
        tab.button(key=f"steps-{draft.id}-add").click().run()
    for tab, word in ((one, "violet"), (other, "ash")):
        tab.text_input(key=f"steps-{draft.id}-0-1-product").set_value(word).run()
        assert_no_failure(tab)
    assert [step.product for step in kept(store, draft).steps] == ["ash"]
    assert "violet" in told(other)
    other.button(key="other-tab-theirs").click().run()
    assert [step.product for step in kept(store, draft).steps] == ["violet"]
    assert "violet" in told(other)


def test_nothing_is_saved_for_good_that_this_tab_did_not_show(store: Store, client: Client, draft: Draft) -> None:
    one, other = two(draft)
    one.text_area(key=field(one, draft, "visit-next")).set_value("in six weeks").run()
    other.pills(key=f"visit-services-{draft.id}").set_value(["cut"])
    other.button(key="save").click().run()
    assert store.visits.of_client(client.id) == []
    assert "another tab" in told(other)
    save_visit(other)
    [visit] = store.visits.of_client(client.id)
    assert (visit.next_time, visit.services) == ("in six weeks", ("cut",))


def test_photos_that_both_tabs_add_are_all_in(store: Store, client: Client) -> None:
    first = open_page("new_visit", client=client.id)
    upload(first, "before", drawn_photo(40.0, seed=3))
    draft = shown_draft(first, store)
    one, other = two(draft)
    upload(one, "after", drawn_photo(60.0, seed=4))
    upload(other, "after", drawn_photo(62.0, seed=5))
    assert_no_failure(other)
    assert [photo.role for photo in store.drafts.get(draft.id).photos] == ["before", "after", "after"]
    one.run()
    assert "1 photo added" in told(one)
    assert all(f"/picture/{photo.id}/" in words(one) for photo in store.drafts.get(draft.id).photos)


def test_a_photo_added_where_the_other_tab_threw_the_draft_away_begins_a_new_one(
    store: Store, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = open_page("new_visit", client=client.id)
    upload(first, "before", drawn_photo(40.0, seed=3))
    draft = shown_draft(first, store)
    search = workflow.suggest_marks

    def meanwhile(*args: object, **kwargs: object) -> object:
        store.drafts.delete(draft.id)
        return search(*args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(workflow, "suggest_marks", meanwhile)
    upload(first, "after", drawn_photo(60.0, seed=4))
    assert_no_failure(first)
    [left] = store.drafts.find(client.id)
    assert [photo.role for photo in left.photos] == ["after"]
    assert left.id != draft.id
    assert shown_draft(first, store) == left
    assert "starts a new one" in told(first)


def test_the_light_and_the_card_follow_the_tab_that_chose_them(store: Store, client: Client) -> None:
    first = open_page("new_visit", client=client.id)
    upload(first, "before", drawn_photo(40.0, seed=3))
    draft = shown_draft(first, store)
    one, other = two(draft)
    one.pills(key=named(one.pills, "light-before")).set_value("daylight").run()
    one.radio(key=named(one.radio, "card-", "-kind")).set_value("Three-step strip").run()
    other.run()
    assert_no_failure(other)
    [photo] = store.drafts.get(draft.id).photos
    assert photo.marks is not None
    assert (photo.light, photo.marks.card_kind) == ("daylight", "steps3")
    assert other.pills(key=named(other.pills, "light-before")).value == "daylight"
    assert other.radio(key=named(other.radio, "card-")).value == "steps3"


def test_marks_that_the_other_tab_moved_are_not_put_back(store: Store, client: Client) -> None:
    first = open_page("new_visit", client=client.id)
    upload(first, "before", drawn_photo(40.0, seed=3))
    first.button(key="to-marks").click().run()
    draft = shown_draft(first, store)
    one, other = two(draft)
    given = marks().outline or ()
    moved_on = ((given[0][0] + 3, given[0][1]), *given[1:])
    [photo] = draft.photos
    other.session_state[f"marks-{photo.id}"] = sent()
    other.run()
    one.session_state[f"marks-{photo.id}"] = sent(outline=moved_on)
    one.run()
    for _ in range(2):
        other.run()
        assert_no_failure(other)
        [moved] = store.drafts.get(draft.id).photos
        assert moved.marks is not None
        assert moved.marks.outline == moved_on
    assert "marks of the before photo" in told(other)


def test_a_visit_that_one_tab_measured_and_saved_is_told_in_the_other(filled: Filled) -> None:
    one = open_page("new_visit", client=filled.client.id)
    upload(one, "before", drawn_photo(40.0, seed=30))
    one.button(key="to-marks").click().run()
    draft = shown_draft(one, filled.store)
    other = open_page("new_visit", draft=draft.id)
    look_right(one, filled.store, "before")
    one.button(key="to-save").click().run()
    save_visit(one)
    assert len(filled.store.visits.of_client(filled.client.id)) == 2
    other.run()
    assert_no_failure(other)
    assert "This visit has already been saved, perhaps from another window" in told(other)
