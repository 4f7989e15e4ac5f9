"""Bringing in, handing out, merging, taking back and erasing, with the keyboard alone and in a hand."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from stillness import settled
from test_main_job import strike, walk_to

from tracker import workflow
from tracker.record.records import MEASURING
from tracker.store import Store

if TYPE_CHECKING:
    from conftest import Watched

pytestmark = pytest.mark.browser

CLIENTS = "name;note\nIna Moss;=1+1\n;nobody\nOla;x\n"
PAGES = ("my-data", "bring-in", "studio")


def test_by_keyboard_alone(studio: str, desktop: Watched, tmp_path: Path) -> None:
    page = desktop.page
    listed = tmp_path / "clients.csv"
    listed.write_text(CLIENTS, "utf-8")
    page.goto(f"{studio}/studio")
    strike(page, "link", "Backups, taking data out, bringing it in, what was erased")
    page.get_by_role("heading", name="My data", exact=True).wait_for()
    strike(page, "link", "Bring in a list")
    page.get_by_role("heading", name="Bring in a list", exact=True).wait_for()
    settled(page)
    page.locator("input[type=file]").set_input_files(listed)
    page.get_by_text("Line 3: There is no name.").wait_for()
    strike(page, "button", "Add 2 clients")
    page.get_by_text("2 clients added. 1 line left out.").wait_for()
    strike(page, "link", "Back to My data")
    page.get_by_role("heading", name="My data", exact=True).wait_for()
    strike(page, "button", "Back up now")
    page.get_by_text("The backup is complete and checked.").wait_for()
    strike(page, "link", "Clients")
    strike(page, "link", "Ina Moss")
    page.get_by_role("heading", name="Ina Moss", exact=True).wait_for()
    walk_to(page, page.locator("summary", has_text="Hand over this record"))
    page.keyboard.press("Enter")
    strike(page, "button", "Put it together")
    page.get_by_text("Ready: 0 visits and 0 photos").wait_for()
    settled(page)
    with page.expect_download() as saved:
        strike(page, "link", "Save the file")
    with zipfile.ZipFile(saved.value.path()) as packed:
        assert b"Ina Moss" in packed.read("record.html")
        assert b"'=1+1" in packed.read("tables/client.csv")
    walk_to(page, page.locator("summary", has_text="Merge with another record"))
    page.keyboard.press("Enter")
    strike(page, "link", "Find the other record")
    walk_to(page, page.get_by_label("Find the other record"))
    page.keyboard.press("Control+a")  # the name's first word stands there already
    page.keyboard.type("Ola")
    page.get_by_text("no visit yet", exact=False).wait_for()
    strike(page, "button", "This one")
    page.get_by_text("Yes, both are the same person").wait_for()
    walk_to(page, page.get_by_label("Who confirms that both are the same person"))
    page.keyboard.type("me")
    walk_to(page, page.get_by_role("checkbox"))
    page.keyboard.press("Space")
    strike(page, "button", "Merge")
    page.get_by_text("The two records are now one.").wait_for()
    desktop.assert_clean()
    with Store(tmp_path / "studio") as store:
        assert [summary.client.name for summary in store.clients.summaries()] == ["Ina Moss"]


def test_in_a_hand_a_draft_is_taken_back(studio: str, phone: Watched, tmp_path: Path) -> None:
    page = phone.page
    with Store(tmp_path / "studio") as store:
        client = workflow.add_client(store, "Bea", "", {MEASURING: True}, "me")
        workflow.start_draft(store, client.id, "visit")
    page.goto(studio)
    settled(page)
    page.get_by_role("button", name="Throw away").tap()
    undo = page.get_by_role("button", name="Undo", exact=True)
    undo.wait_for()
    assert undo.bounding_box()["height"] >= 44
    settled(page)
    undo.tap()
    page.get_by_text("It is back, as it was.").wait_for()
    page.get_by_role("button", name="Continue").wait_for()
    for name in PAGES:
        page.goto(f"{studio}/{name}")
        page.get_by_role("heading").first.wait_for()
        settled(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
    phone.assert_clean()
    with Store(tmp_path / "studio") as store:
        assert len(store.drafts.find()) == 1
