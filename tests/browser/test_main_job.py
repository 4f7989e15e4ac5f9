"""The main job in a real browser: by mouse with the sample photos, by keyboard alone, and in a hand."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from stillness import settled

from tests.samples import sample_photo
from tracker import workflow
from tracker.record.records import BEFORE, MEASURING, PORTFOLIO, PhotoRecord
from tracker.store import Store

if TYPE_CHECKING:
    from conftest import Watched

pytestmark = pytest.mark.browser

MEASURING_MS = 60_000
LISTED = ("Today", "Clients", "New visit", "Portfolio", "Studio")


def sample(role: str) -> Path:
    """The sample photo in that role, taken in daylight."""
    return sample_photo(f"noor_{role}_daylight.jpg")


def press(page: Any, name: str) -> None:
    """Press a button once the page stands still."""
    settled(page)
    page.get_by_role("button", name=name).click()


def open_listed(page: Any, name: str) -> None:
    """Go to a page by the menu."""
    page.get_by_role("link", name=name, exact=True).click()
    page.get_by_role("heading", name=name, exact=True).wait_for()


def add_client(page: Any, name: str) -> None:
    """Add a client who agrees to everything."""
    open_listed(page, "Clients")
    press(page, "Add a client")
    page.get_by_label("Name", exact=True).fill(name)
    for purpose in range(2):
        # each kind of field comes in a script of its own, so a box may be there later than the button below it
        page.get_by_role("checkbox").nth(purpose).check(force=True)
    page.get_by_label("Who asked the client").fill("me")
    press(page, "Add the client")
    page.get_by_role("heading", name=name, exact=True).wait_for()


def add_photo(page: Any, photo: Path, there: int) -> None:
    """Hand over the next photo and wait until so many are there."""
    settled(page)
    page.locator("input[type=file]").nth(there - 1).set_input_files(photo)
    page.wait_for_function(
        "there => [...document.querySelectorAll('button')].filter(b => b.innerText.includes('Remove this photo'))"
        ".length === there",
        arg=there,
        timeout=MEASURING_MS,
    )


def drag(page: Any, handle: str, right: float, down: float) -> None:
    """Move one handle of the editor."""
    box = page.get_by_test_id(handle).locator(".hit").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + right, y + down, steps=6)
    page.mouse.up()


def place(page: Any, handle: str) -> str:
    """Where a handle says it is."""
    return str(page.get_by_test_id(handle).get_attribute("aria-label"))


@pytest.mark.slow
def test_from_the_demo_to_a_measured_lift_in_the_portfolio(studio: str, desktop: Watched, tmp_path: Path) -> None:
    page = desktop.page
    page.goto(studio)
    press(page, "Load the demo studio")
    page.get_by_text("The demo studio is loaded").wait_for(timeout=240_000)
    page.get_by_role("heading", name="Recent visits").wait_for()
    add_client(page, "Mira")
    press(page, "New visit")
    add_photo(page, sample("before"), 1)
    add_photo(page, sample("after"), 2)
    press(page, "Next: check the marks")
    page.get_by_test_id("corner-0").wait_for()
    stood = place(page, "corner-0")
    drag(page, "corner-0", 3, 3)
    page.wait_for_function(
        "stood => document.querySelector('[data-testid=stMain]').innerText.includes('Looks right') && stood", arg=stood
    )
    assert place(page, "corner-0") != stood
    page.screenshot(path=tmp_path / "marks.png")
    press(page, "Looks right")
    page.get_by_role("radio", name="After", checked=True).wait_for(timeout=MEASURING_MS)
    press(page, "Looks right")
    page.get_by_role("button", name="Next: save").wait_for(timeout=MEASURING_MS)
    finding = page.get_by_role("heading", name="lighter").inner_text()
    assert re.search(r"clearly lighter, by \d\.\d levels \(\d\.\d to \d\.\d\)", finding)
    page.get_by_test_id("stMain").evaluate("main => main.scrollTo(0, 0)")
    box = page.get_by_role("button", name="Next: save").bounding_box()
    assert box["y"] + box["height"] <= 900, "the next step is in view beside the finding"
    press(page, "Next: save")
    page.get_by_text("Hand-painted lightening", exact=True).click()
    press(page, "Save the visit")
    page.get_by_text("The visit is saved").wait_for()
    page.screenshot(path=tmp_path / "compare.png")
    open_listed(page, "Portfolio")
    page.get_by_text(finding).first.wait_for()
    assert "Mira" not in page.get_by_test_id("stMain").inner_text()
    page.get_by_role("button", name="Look closer").first.click()
    page.get_by_role("button", name="Back to the portfolio").wait_for()
    page.go_back()
    page.get_by_role("button", name="Look closer").first.wait_for()
    desktop.assert_clean()


def tap_hair(page: Any, right: float, down: float) -> None:
    """Tap the photo in the editor, at these shares of its width and height."""
    x, y = page.locator(".stage").evaluate(
        """(stage, [right, down]) => { const size = stage.viewBox.baseVal, box = stage.getBoundingClientRect()
          const at = new DOMPoint(size.x + right * size.width, size.y + down * size.height)
          const seen = at.matrixTransform(stage.getScreenCTM())
          return [seen.x, seen.y] }""",
        [right, down],
    )
    page.mouse.click(x, y)


def test_three_taps_find_the_hair_and_the_number_follows(studio: str, desktop: Watched, tmp_path: Path) -> None:
    with Store(tmp_path / "studio") as store:
        client = workflow.add_client(store, "Ida", "", {MEASURING: True, PORTFOLIO: True}, "me")
    page = desktop.page
    page.goto(f"{studio}/new-visit?client={client.id}")
    page.get_by_text("Before photo").first.wait_for()
    add_photo(page, sample("before"), 1)
    press(page, "Go on without the other")
    page.get_by_text("round all of the hair").wait_for(timeout=MEASURING_MS)
    press(page, "Start again")
    page.get_by_text("Tap the root, the middle and the tip").wait_for()
    page.get_by_role("button", name="Looks right", disabled=True).wait_for()
    # down the middle of the head, as the photo shows it
    for place_ in ((0.43, 0.16), (0.43, 0.45), (0.44, 0.72)):
        settled(page)
        tap_hair(page, *place_)
    page.get_by_text("round all of the hair").wait_for(timeout=MEASURING_MS)
    settled(page)
    [photo] = drafted(tmp_path)
    assert photo.marks is not None
    assert len(photo.marks.path) == 3
    assert photo.marks.outline is not None
    press(page, "Looks right")
    page.get_by_role("button", name="Next: save").wait_for(timeout=MEASURING_MS)
    [photo] = drafted(tmp_path)
    assert photo.reading is not None
    assert photo.reading.ok
    desktop.assert_clean()


def drafted(tmp_path: Path) -> tuple[PhotoRecord, ...]:
    """The photos of the one draft."""
    with Store(tmp_path / "studio") as store:
        [draft] = store.drafts.find()
    return draft.photos


def focused(page: Any) -> str:
    """Words of what has the focus, also inside a component."""
    return str(
        page.evaluate(
            """() => { let at = document.activeElement
              while (at?.shadowRoot?.activeElement) at = at.shadowRoot.activeElement
              if (!at || ["BODY", "MAIN"].includes(at.tagName)) return ""
              const label = at.getAttribute("aria-label") ?? at.closest("label")?.innerText ?? ""
              return `${label} ${at.innerText ?? ""}`.trim() }"""
        )
    )


def tab_to(page: Any, words: str) -> None:
    """Press the tab key until something with these words has the focus, once the page stands still."""
    settled(page)
    for _ in range(80):
        if words in focused(page):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"the tab key never reaches {words!r}")


def walk_to(page: Any, found: Any) -> None:
    """Press the tab key until this one thing has the focus, once the page stands still."""
    settled(page)
    found.wait_for()
    for _ in range(120):
        if found.evaluate("found => found === found.getRootNode().activeElement"):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"the tab key never reaches {found}")


def strike(page: Any, role: str, name: str, key: str = "Enter") -> None:
    """Walk to something by the tab key and press a key there."""
    walk_to(page, page.get_by_role(role, name=name, exact=True))
    page.keyboard.press(key)


HEADING_HAS_FOCUS = "document.activeElement?.tagName === 'H1'"
AT_TOP = "document.querySelector('[data-testid=stMain]').scrollTop === 0"


def assert_begins_at_the_top(page: Any) -> None:
    """The page is scrolled to its top, and the heading has the focus."""
    page.wait_for_function(f"{HEADING_HAS_FOCUS} && {AT_TOP}")
    settled(page)
    assert page.evaluate(f"{HEADING_HAS_FOCUS} && {AT_TOP}")


def test_each_step_begins_at_its_top_and_the_marks_fit_the_window(
    studio: str, desktop: Watched, tmp_path: Path
) -> None:
    with Store(tmp_path / "studio") as store:
        client = workflow.add_client(store, "Ida", "", {MEASURING: True, PORTFOLIO: True}, "me")
    page = desktop.page
    page.goto(f"{studio}/new-visit?client={client.id}")
    page.get_by_text("Before photo").first.wait_for()
    add_photo(page, sample("before"), 1)
    add_photo(page, sample("after"), 2)
    press(page, "Next: check the marks")
    for role in ("Before", "After"):
        page.get_by_role("radio", name=role, exact=True, checked=True).wait_for(timeout=MEASURING_MS)
        page.get_by_role("group", name=f"{role} photo").wait_for()
        assert_begins_at_the_top(page)
        stage = page.locator(".stage").bounding_box()
        assert stage["y"] + stage["height"] <= page.viewport_size["height"]
        press(page, "Looks right")
    page.get_by_role("button", name="Next: save").wait_for(timeout=MEASURING_MS)
    assert_begins_at_the_top(page)
    press(page, "Next: save")
    page.get_by_label("Next time").wait_for()
    assert_begins_at_the_top(page)
    press(page, "Save the visit")
    page.get_by_text("No service is chosen").wait_for()
    asked = page.get_by_text("No service is chosen").bounding_box()
    assert asked["y"] < page.viewport_size["height"]
    press(page, "Save without a service")
    page.get_by_text("The visit is saved").wait_for()
    assert_begins_at_the_top(page)
    desktop.assert_clean()


def test_a_visit_that_is_continued_keeps_its_light(studio: str, desktop: Watched, tmp_path: Path) -> None:
    with Store(tmp_path / "studio") as store:
        client = workflow.add_client(store, "Ida", "", {MEASURING: True, PORTFOLIO: True}, "me")
        content = sample("before").read_bytes()
        photo, _ = workflow.take_in(store, content, client_id=client.id, role=BEFORE, light="daylight")
        draft = workflow.start_draft(store, client.id, "visit")
        workflow.keep_draft(store, replace(draft, photos=(photo,)))
    page = desktop.page
    page.goto(f"{studio}/new-visit?client={client.id}")
    # the empty fields of a new visit stand on the page by then
    page.get_by_text("Go on without photos").wait_for()
    press(page, "Continue")
    page.get_by_text("Remove this photo").wait_for()
    settled(page)
    with Store(tmp_path / "studio") as store:
        assert [photo.light for photo in store.drafts.get(draft.id).photos] == ["daylight"]
    desktop.assert_clean()


def test_from_the_upload_to_the_portfolio_by_keyboard_alone(studio: str, desktop: Watched, tmp_path: Path) -> None:
    with Store(tmp_path / "studio") as store:
        client = workflow.add_client(store, "Ida", "", {MEASURING: True, PORTFOLIO: True}, "me")
    page = desktop.page
    page.goto(f"{studio}/new-visit?client={client.id}")
    page.get_by_text("Before photo").first.wait_for()
    # the browser's own window for choosing a file is no page: only the way to its button is walked
    tab_to(page, "Upload")
    add_photo(page, sample("before"), 1)
    add_photo(page, sample("after"), 2)
    strike(page, "button", "Next: check the marks")
    walk_to(page, page.get_by_test_id("corner-0"))
    stood = place(page, "corner-0")
    page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "([id, stood]) => document.querySelector(`[data-testid=${id}]`)?.ariaLabel !== stood", arg=["corner-0", stood]
    )
    strike(page, "button", "Looks right")
    page.get_by_role("radio", name="After", checked=True).wait_for(timeout=MEASURING_MS)
    strike(page, "button", "Looks right")
    page.get_by_role("button", name="Next: save").wait_for(timeout=MEASURING_MS)
    finding = page.get_by_role("heading", name="lighter").inner_text()
    strike(page, "button", "Next: save")
    strike(page, "button", "Hand-painted lightening", "Space")
    strike(page, "button", "Save the visit")
    page.get_by_text("The visit is saved").wait_for()
    strike(page, "link", "Portfolio")
    page.get_by_text(finding).first.wait_for()
    desktop.assert_clean()


def test_a_client_is_added_by_keyboard_alone(studio: str, desktop: Watched) -> None:
    page = desktop.page
    page.goto(studio)
    page.get_by_role("button", name="Add a client").wait_for()
    tab_to(page, "Add a client")
    page.keyboard.press("Enter")
    page.get_by_label("Name", exact=True).wait_for()
    tab_to(page, "Name")
    page.keyboard.type("Ida")
    tab_to(page, "kept on the studio's own computer")
    page.keyboard.press("Space")
    tab_to(page, "Who asked the client")
    page.keyboard.type("me")
    tab_to(page, "Add the client")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Ida", exact=True).wait_for()
    tab_to(page, "New visit")
    while "New visit" in focused(page) and page.evaluate("document.activeElement.tagName") != "BUTTON":
        page.keyboard.press("Tab")
        tab_to(page, "New visit")
    page.keyboard.press("Enter")
    page.get_by_text("Before photo").first.wait_for()
    tab_to(page, "Upload")
    desktop.assert_clean()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_fits_a_phone(studio: str, opened: Any, scheme: str, tmp_path: Path) -> None:
    watched = opened(
        viewport={"width": 390, "height": 844},
        has_touch=True,
        is_mobile=True,
        device_scale_factor=2,
        color_scheme=scheme,
    )
    page = watched.page
    page.goto(studio)
    page.get_by_role("heading", name="Today", exact=True).wait_for()
    for name in LISTED:
        open_listed(page, name)
        settled(page)
        page.screenshot(path=tmp_path / f"{name}-{scheme}.png")
        main = page.get_by_test_id("stMain")
        assert main.evaluate("main => main.scrollWidth - main.clientWidth") <= 0, name
        for button in main.get_by_role("button").all():
            box = button.bounding_box()
            assert box is None or box["height"] >= 44, (name, button.inner_text())
    watched.assert_clean()
