"""After an erasure: other tabs, offered files, and what is typed meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from conftest import DESKTOP, Watched
from stillness import PATIENCE_MS, settled
from test_main_job import press

from tracker import workflow
from tracker.record.records import MEASURING, Client
from tracker.store import Store
from tracker.ui.navigation import ENTRIES, address

pytestmark = pytest.mark.browser

NAME = "Zerubbabel"


@pytest.fixture
def client(tmp_path: Path) -> Client:
    """Somebody to erase, in the studio of the running app."""
    with Store(tmp_path / "studio") as store:
        workflow.add_client(store, "Bea", "", {MEASURING: True}, "me")
        return workflow.add_client(store, NAME, "likes cool tones", {MEASURING: True}, "me")


def erase(page: Any, address: str, client: Client) -> None:
    page.goto(f"{address}/client?client={client.id}")
    page.get_by_role("heading", name=NAME, exact=True).wait_for()
    settled(page)
    page.get_by_text("Erase this client").first.click()
    field = page.get_by_label("Type the client’s name to confirm")
    field.fill(NAME)
    field.blur()  # the name goes to the server now, and not with the press, under which the page would move
    press(page, "Erase for good")
    page.get_by_text("Erased on").wait_for()


def everything_on(page: Any) -> str:
    """The markup of the page with what stands in its fields."""
    fields = page.evaluate("[...document.querySelectorAll('input, textarea')].map((field) => field.value).join()")
    return str(page.content() + fields)


def wait_until_gone(page: Any, word: str = NAME) -> None:
    """Fail where a page goes on showing the word."""
    for _ in range(PATIENCE_MS // 100):
        if word not in everything_on(page):
            return
        page.wait_for_timeout(100)
    pytest.fail(f"{word} is still on the page {page.url}")


def test_other_tabs_and_other_browsers_lose_the_client(
    studio: str, opened: Callable[..., Watched], client: Client
) -> None:
    erasing, elsewhere = opened(**DESKTOP), opened(**DESKTOP)
    shown = [erasing.page.context.new_page(), erasing.page.context.new_page(), elsewhere.page]
    paths = [f"client?client={client.id}", "clients", f"new-visit?client={client.id}"]
    for page, path in zip(shown, paths, strict=True):
        page.goto(f"{studio}/{path}")
        page.get_by_text(NAME).first.wait_for()
        settled(page)
    shown[1].get_by_label("Find", exact=False).first.fill(NAME)
    settled(shown[1])
    erase(erasing.page, studio, client)
    for page in shown:
        wait_until_gone(page)
    assert "Bea" in everything_on(shown[1])
    erasing.page.wait_for_timeout(1000)  # it hears of its own erasure too, and goes on saying so
    assert erasing.page.get_by_text("Erased on").is_visible()
    assert elsewhere.outside == erasing.outside == []


def test_what_is_being_typed_in_another_tab_stays(studio: str, opened: Callable[..., Watched], client: Client) -> None:
    erasing, typing = opened(**DESKTOP), opened(**DESKTOP)
    page = typing.page
    page.goto(f"{studio}/clients?add=1")
    page.get_by_label("Name", exact=True).fill("Cleo")
    settled(page)
    note = page.get_by_label("Note (optional)")
    note.click()
    page.keyboard.type("half a sent")
    with page.expect_request("**/forgotten/*", timeout=PATIENCE_MS):
        erase(erasing.page, studio, client)
    settled(page)
    page.keyboard.type("ence")
    assert note.input_value() == "half a sentence"
    assert page.get_by_label("Name", exact=True).input_value() == "Cleo"


@pytest.mark.slow  # walks over every page
def test_no_field_of_any_page_lets_the_browser_remember(studio: str, desktop: Watched, client: Client) -> None:
    page, seen = desktop.page, 0
    for entry in ENTRIES:
        page.goto(studio + address(entry.name, client=client.id, add="1"))
        page.locator("h1").first.wait_for()
        settled(page)
        page.locator("details:not([open]) > summary").evaluate_all("all => all.forEach((one) => one.click())")
        settled(page)
        fields = page.locator("input, textarea")
        seen += fields.count()
        remembering = "all => all.filter((one) => one.autocomplete !== 'off').map((one) => one.outerHTML)"
        assert fields.evaluate_all(remembering) == [], entry.name
    assert seen > 20


def test_an_offered_file_is_gone_with_the_client(studio: str, opened: Callable[..., Watched], client: Client) -> None:
    erasing, offering = opened(**DESKTOP), opened(**DESKTOP)
    page = offering.page
    page.goto(f"{studio}/client?client={client.id}")
    page.get_by_role("heading", name=NAME, exact=True).wait_for()
    settled(page)
    page.get_by_text("Hand over this record").first.click()
    press(page, "Put it together")
    link = page.get_by_role("link", name="Save the file")
    link.wait_for()
    settled(page)  # a link that is drawn again under the hand saves nothing
    address = studio + link.get_attribute("href")
    with page.expect_download() as saved:
        link.click()
    assert Path(saved.value.path()).read_bytes().startswith(b"PK")
    assert page.request.get(address).ok
    erase(erasing.page, studio, client)
    # the server may have closed the connection meanwhile, which is kept open for some seconds only
    assert page.request.get(address, max_retries=1).status == 404
    wait_until_gone(page)
