"""Two tabs of one browser on one draft: photos of both are in, words of both are kept, the second one is told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from stillness import settled

from tests.samples import sample_photo
from tracker import workflow
from tracker.record.records import MEASURING, Draft
from tracker.store import Store

if TYPE_CHECKING:
    from conftest import Serve, Watched

pytestmark = pytest.mark.browser

REPOSITORY = Path(__file__).parents[2]
BEFORE, AFTER = sample_photo("noor_before_daylight.jpg"), sample_photo("noor_after_daylight.jpg")


@pytest.fixture
def draft(tmp_path: Path) -> Draft:
    """A visit that was just begun."""
    with Store(tmp_path / "studio") as store:
        client = workflow.add_client(store, "Cleo", "", {MEASURING: True}, "me")
        return workflow.start_draft(store, client.id, "visit")


@pytest.fixture
def address(tmp_path: Path, draft: Draft, serve: Serve) -> Iterator[str]:
    """The draft's page in a running app."""
    with serve(REPOSITORY / "app.py", tmp_path / "studio", tmp_path / "server.log") as root:
        yield f"{root}/new-visit?draft={draft.id}"


def kept(tmp_path: Path, draft: Draft) -> Draft:
    with Store(tmp_path / "studio") as store:
        return store.drafts.get(draft.id)


def note(page: Any) -> Any:
    return page.get_by_label("Note", exact=True)


def wait_for_note(page: Any, text: str) -> None:
    """Wait until this stands in the field."""
    page.wait_for_function("t => [...document.querySelectorAll('textarea')].some(e => e.value === t)", arg=text)


def test_photos_and_notes_of_both(address: str, desktop: Watched, tmp_path: Path, draft: Draft) -> None:
    one = desktop.page
    other = one.context.new_page()
    for page in (one, other):
        page.goto(address)
        page.locator("input[type=file]").first.wait_for(state="attached")
        settled(page)
    # both hand a photo over while neither has seen the other's
    one.locator("input[type=file]").nth(0).set_input_files(BEFORE)
    other.locator("input[type=file]").nth(1).set_input_files(AFTER)
    for page in (one, other):
        settled(page)
        page.get_by_role("button", name="Next: check the marks").or_(
            page.get_by_role("button", name="Go on without the other")
        ).wait_for(timeout=60_000)
    assert {photo.role for photo in kept(tmp_path, draft).photos} == {"before", "after"}
    one.reload()
    one.locator("img").nth(1).wait_for()

    with Store(tmp_path / "studio") as store:
        workflow.keep_draft(store, replace(store.drafts.get(draft.id), step=3))
    for page in (one, other):
        page.goto(address)
        note(page).wait_for()
        settled(page)
    # one goes back a step while the other is being typed in
    note(one).fill("typed in the first tab")
    other.get_by_role("button", name="Back one step").click()
    settled(other)
    one.get_by_label("Next time").click()  # leaving the field hands the words over
    settled(one)
    visit = kept(tmp_path, draft).visit
    assert visit is not None
    assert visit.note == "typed in the first tab"
    assert note(one).input_value() == "typed in the first tab"

    # the other comes back, and now both change the note
    other.goto(address.split("?")[0].replace("new-visit", ""))
    other.goto(address)
    other.get_by_role("button", name="Next: save").click()
    note(other).wait_for()
    settled(other)
    assert note(other).input_value() == "typed in the first tab"
    note(one).fill("first again")
    one.get_by_label("Next time").click()
    settled(one)
    note(other).fill("second tab")
    other.get_by_label("Next time").click()
    notice = other.locator(".st-key-other-tab")
    notice.get_by_text("first again").wait_for()
    settled(other)
    assert "This draft was changed in another tab at" in notice.inner_text()
    assert note(other).input_value() == "second tab"
    other.get_by_role("button", name="Use the other tab’s").click()
    wait_for_note(other, "first again")
    visit = kept(tmp_path, draft).visit
    assert visit is not None
    assert visit.note == "first again"
    with Store(tmp_path / "studio") as store:
        assert "second tab" in {line.before.visit.note for line in store.edits.find(record_id=draft.id) if line.before}
    desktop.assert_clean()
