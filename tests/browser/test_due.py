"""Who is due in a real browser, by keyboard alone: from the demo to a calendar file and a saved chart."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from test_main_job import strike, walk_to

if TYPE_CHECKING:
    from conftest import Watched

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_from_the_demo_to_a_calendar_file_and_a_chart(studio: str, desktop: Watched) -> None:
    page = desktop.page
    page.goto(studio)
    strike(page, "button", "Load the demo studio")
    page.get_by_text("The demo studio is loaded").wait_for(timeout=240_000)
    # it stands in the menu, and on the page once there is somebody
    walk_to(page, page.get_by_role("link", name="Who is due", exact=True).first)
    page.keyboard.press("Enter")
    page.get_by_text("warmth at the ends").wait_for()
    walk_to(page, page.locator("summary", has_text="Put these in my calendar"))
    page.keyboard.press("Enter")
    with page.expect_download() as saved:
        strike(page, "link", "Save the calendar file (1 client)")
    content = Path(saved.value.path()).read_bytes()
    assert content.startswith(b"BEGIN:VCALENDAR\r\n")
    assert b"SUMMARY:Refresh due: Noor\r\n" in content
    walk_to(page, page.get_by_role("link", name="Noor").first)
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="How the colour wears").wait_for()
    walk_to(page, page.locator("summary", has_text="Each limit, and how sure it is"))
    page.keyboard.press("Enter")
    strike(page, "button", "Save this chart")
    with page.expect_download(timeout=60_000) as drawn:
        walk_to(page, page.get_by_role("link", name="PDF"))
        page.keyboard.press("Enter")
    assert Path(drawn.value.path()).read_bytes().startswith(b"%PDF")
    desktop.assert_clean()
