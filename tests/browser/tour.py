"""Takes the pictures of the README's tour: ``python -m tests.browser.tour`` walks it and writes them anew."""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))  # the helpers of the browser tests, as pytest finds them

from conftest import BROWSERS, FLAGS, REPOSITORY, serving
from stillness import NOTE_RUNS, settled
from test_main_job import MEASURING_MS, add_client, add_photo, open_listed, press, sample

PICTURES = REPOSITORY / "sample_images" / "tour"


def keep(page: Any, name: str, height: int = 0) -> None:
    """The window as it stands, or so much of the page, as a small JPEG."""
    page.wait_for_timeout(1500)
    before = page.viewport_size
    if height:
        page.set_viewport_size({"width": before["width"], "height": height})
        page.wait_for_timeout(800)
    with Image.open(io.BytesIO(page.screenshot())) as shot:
        shot.convert("RGB").save(PICTURES / f"{name}.jpg", quality=88, optimize=True)
    page.set_viewport_size(before)


def walk(page: Any, address: str) -> None:
    """The tour, step by step."""
    page.goto(address)
    press(page, "Load the demo studio")
    page.get_by_text("The demo studio is loaded").wait_for(timeout=240_000)
    open_listed(page, "Clients")
    page.get_by_role("link", name="Noor").first.click()
    page.get_by_text("How the colour wears").wait_for()
    keep(page, "1-wear", 960)
    add_client(page, "Mira")
    press(page, "New visit")
    add_photo(page, sample("before"), 1)
    add_photo(page, sample("after"), 2)
    for place in range(2):
        for note in ("Daylight", "Stood by itself"):
            page.get_by_text(note, exact=True).nth(place).click()
            settled(page)
    press(page, "Next: check the marks")
    page.get_by_test_id("corner-0").wait_for()
    keep(page, "2-marks", 1180)
    press(page, "Looks right")
    page.get_by_role("radio", name="After", checked=True).wait_for(timeout=MEASURING_MS)
    press(page, "Looks right")
    page.get_by_role("button", name="Next: save").wait_for(timeout=MEASURING_MS)
    keep(page, "3-result", 1000)
    press(page, "Next: save")
    page.get_by_text("Hand-painted lightening", exact=True).click()
    press(page, "Save the visit")
    page.get_by_text("The visit is saved").wait_for()
    open_listed(page, "Portfolio")
    page.get_by_text("Look closer").first.wait_for()
    keep(page, "4-portfolio", 860)


def main() -> None:
    """Walk the tour in a fresh studio."""
    from playwright.sync_api import sync_playwright

    PICTURES.mkdir(exist_ok=True)
    browser_path = next(path for name in BROWSERS if (path := shutil.which(name)))
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        home = Path(folder)
        with serving(REPOSITORY / "app.py", home / "studio", home / "server.log") as address:
            browser = driver.chromium.launch(executable_path=browser_path, args=list(FLAGS))
            page = browser.new_page(viewport={"width": 1100, "height": 900})
            page.add_init_script(NOTE_RUNS)
            walk(page, address)
            browser.close()


if __name__ == "__main__":
    main()
