"""Who is due in a real browser: from the demo to a calendar file and a saved chart."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from test_main_job import open_listed, press, settled

if TYPE_CHECKING:
    from conftest import Watched

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_from_the_demo_to_a_calendar_file_and_a_chart(studio: str, desktop: Watched) -> None:
    page = desktop.page
    page.goto(studio)
    press(page, "Load the demo studio")
    page.get_by_text("The demo studio is loaded").wait_for(timeout=240_000)
    open_listed(page, "Who is due")
    page.get_by_text("warmth at the ends").wait_for()
    page.get_by_text("Put these into my calendar").click()
    settled(page)
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save the calendar file").click()
    content = Path(saved.value.path()).read_bytes()
    assert content.startswith(b"BEGIN:VCALENDAR\r\n")
    assert b"SUMMARY:Refresh due: Noor\r\n" in content
    page.get_by_role("link", name="Noor").first.click()
    page.get_by_role("heading", name="How the colour wears").wait_for()
    page.get_by_text("What if it is washed less often?").click()
    settled(page)
    page.get_by_role("button", name="Save this chart").click()
    settled(page)
    with page.expect_download(timeout=60_000) as drawn:
        page.get_by_role("button", name="PDF").click()
    assert Path(drawn.value.path()).read_bytes().startswith(b"%PDF")
    desktop.assert_clean()
