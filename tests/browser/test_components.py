"""The two components in a real browser: mouse, keyboard and finger, down to the pixel."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image

if TYPE_CHECKING:
    from conftest import Serve, Watched

pytestmark = pytest.mark.browser

SIZE = (1200, 900)
SCRIPT = """
import json
import streamlit as st
from tracker.ui.components.before_after import before_after
from tracker.ui.components.point_editor import edit_marks
from tracker.ui.look import page_style

st.set_page_config(page_title="components")
st.html(page_style())
kept = st.session_state
kept.setdefault("rev", 0)
kept.setdefault("runs", 0)
kept.setdefault("marks", {
    "corners": [[120, 200], [360, 200], [360, 500], [120, 500]],
    "path": [[700, 100], [720, 400], [700, 800]],
    "width": 120.0,
})


def editor():
    marks = edit_marks(key="marks-editor", url="/photo.jpg", size=(1200, 900), rev=kept.rev, label="Hair", **kept.marks)
    kept.marks = {"corners": marks.corners, "path": marks.path, "width": marks.width}
    if st.button("Start again"):
        kept.marks = {"corners": [[0, 0], [90, 0], [90, 90], [0, 90]], "path": [[500, 50], [500, 850]], "width": 80.0}
        kept.rev += 1
        st.rerun()
    st.text("MARKS " + json.dumps(kept.marks) + " END")
    st.html('<div style="height: 900px"></div>')


def slider():
    kept.runs += 1
    before_after(
        key="pair",
        before_url="/photo.jpg",
        after_url="/tall.jpg",
        ratio=4 / 3,
        before_alt="Before",
        after_alt="After",
        note="Same light.",
    )
    st.text(f"RUNS {kept.runs} END")
    st.html('<div style="height: 900px"></div>')


pages = [st.Page(editor, title="Editor", default=True), st.Page(slider, title="Slider")]
here = st.navigation(pages, position="hidden")
for page in pages:
    st.page_link(page)
here.run()
"""
SERVER = """
from pathlib import Path
import streamlit as st
from starlette.responses import FileResponse
from starlette.routing import Route
from tracker.ui import server

folder = Path(__file__).parent
routes = [Route("/{name}.jpg", lambda asked: FileResponse(folder / f"{asked.path_params['name']}.jpg"))]
app = st.App(folder / "script.py", routes=routes, middleware=server.middleware())
"""


@pytest.fixture(scope="module")
def address(serve: Serve, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("components")
    (folder / "script.py").write_text(SCRIPT, "utf-8")
    (folder / "served.py").write_text(SERVER, "utf-8")
    Image.linear_gradient("L").resize(SIZE).convert("RGB").save(folder / "photo.jpg")
    Image.new("RGB", (600, 900), (90, 80, 70)).save(folder / "tall.jpg")
    with serve(folder / "served.py", folder / "studio", folder / "server.log") as found:
        yield found


@pytest.fixture
def at_desk(address: str, desktop: Watched) -> Watched:
    return load(desktop, address)


@pytest.fixture
def in_hand(address: str, phone: Watched) -> Watched:
    return load(phone, address)


def load(watched: Watched, address: str) -> Watched:
    watched.page.goto(address)
    watched.page.get_by_test_id("corner-0").wait_for()
    watched.page.wait_for_function("document.body.innerText.includes('MARKS')")
    watched.page.wait_for_timeout(300)
    return watched


def marks(page: Any) -> dict[str, Any]:
    """The marks as Python has them."""
    found: dict[str, Any] = json.loads(re.search(r"MARKS (.*?) END", page.inner_text("body"))[1])
    return found


def changed(page: Any, before: dict[str, Any]) -> dict[str, Any]:
    """The marks as soon as Python has others than `before`."""
    page.wait_for_function(
        "old => { const now = document.body.innerText.match(/MARKS (.*?) END/); return now && now[1] !== old }",
        arg=json.dumps(before),
    )
    return marks(page)


def spot(page: Any, name: str) -> tuple[float, float]:
    """Middle of a handle on the screen."""
    box = page.get_by_test_id(name).locator(".hit").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def scale(page: Any) -> float:
    """Pixels of the photo in one pixel of the screen."""
    return page.evaluate(
        """() => { for (const one of document.querySelectorAll("*")) {
            const stage = one.shadowRoot?.querySelector(".stage")
            if (stage) return stage.viewBox.baseVal.width / stage.getBoundingClientRect().width } }"""
    )


def drag(page: Any, start: tuple[float, float], by: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(start[0] + by[0], start[1] + by[1], steps=5)
    page.mouse.up()


def swipe(page: Any, start: tuple[float, float], by: tuple[float, float]) -> None:
    """A finger, through the browser's own touch events."""
    finger = page.context.new_cdp_session(page)
    for step in range(9):
        point = {"x": start[0] + by[0] * step / 8, "y": start[1] + by[1] * step / 8}
        kind = "touchStart" if step == 0 else "touchMove"
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [point]})
        page.wait_for_timeout(16)
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def scrolled(page: Any) -> float:
    return page.evaluate("document.querySelector('[data-testid=stMain]').scrollTop")


def moved(before: Any, after: Any) -> list[float]:
    return [now - then for then, now in zip(before, after, strict=True)]


def test_mouse_moves_one_corner_by_exactly_what_it_was_dragged(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    drag(page, spot(page, "corner-2"), (40, -25))
    after = changed(page, before)
    assert moved(before["corners"][2], after["corners"][2]) == pytest.approx([40 * k, -25 * k], abs=0.02)
    assert after["corners"][0] == before["corners"][0]
    assert after["path"] == before["path"]
    at_desk.assert_clean()


def test_dragging_inside_the_card_moves_all_of_it(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    x, y = spot(page, "card-0")
    drag(page, (x - 30, y + 40), (50, 20))
    after = changed(page, before)
    for old, new in zip(before["corners"], after["corners"], strict=True):
        assert moved(old, new) == pytest.approx([50 * k, 20 * k], abs=0.02)
    drag(page, spot(page, "card-0"), (-2000, 0))
    held = changed(page, after)
    assert min(x for x, _ in held["corners"]) == 0
    assert held["corners"][1][0] == pytest.approx(240, abs=0.05)


def test_three_quick_drags_are_all_kept(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    for _ in range(3):
        drag(page, spot(page, "point-0"), (15, 4))
    page.wait_for_timeout(900)
    assert moved(before["path"][0], marks(page)["path"][0]) == pytest.approx([45 * k, 12 * k], abs=0.05)


def test_keys_move_by_pixels_of_the_screen_and_focus_goes_card_first(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    page.get_by_test_id("corner-0").focus()
    order = []
    for _ in range(8):
        order.append(page.evaluate("document.activeElement.shadowRoot?.activeElement?.dataset.testid"))
        page.keyboard.press("Tab")
    assert order == [*(f"corner-{i}" for i in range(4)), *(f"point-{i}" for i in range(3)), "card-0"]
    page.get_by_test_id("corner-0").focus()
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowDown")
    after = changed(page, before)
    assert moved(before["corners"][0], after["corners"][0]) == pytest.approx([5 * k, 10 * k], abs=0.05)
    page.wait_for_timeout(300)
    assert page.evaluate("document.activeElement.shadowRoot?.activeElement?.dataset.testid") == "corner-0"
    page.keyboard.press("Control+z")
    assert changed(page, after) == before


def test_points_are_added_removed_and_brought_back(at_desk: Watched) -> None:
    page = at_desk.page
    before = marks(page)
    page.mouse.click(*spot(page, "add-0"))
    four = changed(page, before)
    assert [len(before["path"]), len(four["path"])] == [3, 4]
    assert four["path"][1] == pytest.approx([710, 250], abs=0.05)
    page.get_by_test_id("point-1").focus()
    page.keyboard.press("Delete")
    three = changed(page, four)
    assert three["path"] == before["path"]
    page.get_by_role("button", name="Undo").click()
    assert changed(page, three) == four
    page.mouse.click(*spot(page, "point-2"))
    page.get_by_role("button", name="Remove point").click()
    assert len(changed(page, four)["path"]) == 3
    middle, tip = spot(page, "point-1"), spot(page, "point-2")  # the longer of both, clear of its handles
    three = marks(page)
    page.mouse.dblclick(middle[0] + (tip[0] - middle[0]) * 0.25, middle[1] + (tip[1] - middle[1]) * 0.25)
    assert len(changed(page, three)["path"]) == 4
    at_desk.assert_clean()


def test_width_by_its_handle_and_by_its_range(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    drag(page, spot(page, "width"), (-30, 0))
    after = changed(page, before)
    assert after["width"] == pytest.approx(before["width"] + 60 * k, rel=0.02)
    slide = page.get_by_role("slider", name="Width of the strand")
    slide.focus()
    slide.press("ArrowRight")
    assert changed(page, after)["width"] == pytest.approx(after["width"] + 1, abs=0.51)


def test_zoom_keeps_the_marks_and_makes_drags_finer(at_desk: Watched) -> None:
    page = at_desk.page
    page.mouse.click(*spot(page, "point-1"))
    page.get_by_role("button", name="Zoom 4 times").click()
    before, k = marks(page), scale(page)
    drag(page, spot(page, "point-1"), (40, 8))
    after = changed(page, before)
    assert moved(before["path"][1], after["path"][1]) == pytest.approx([40 * k, 8 * k], abs=0.02)
    x, y = spot(page, "point-1")
    drag(page, (x + 150, y + 60), (-80, -50))
    assert moved((x, y), spot(page, "point-1")) == pytest.approx([-80, -50], abs=0.6)
    page.wait_for_timeout(400)
    assert marks(page) == after


def test_marks_outlive_another_page_and_python_may_start_again(at_desk: Watched) -> None:
    page = at_desk.page
    before = marks(page)
    drag(page, spot(page, "corner-1"), (25, 15))
    after = changed(page, before)
    page.get_by_role("link", name="Slider").click()
    page.get_by_text("RUNS 1 END").wait_for()
    page.get_by_role("link", name="Editor").click()
    page.get_by_test_id("corner-1").wait_for()
    page.wait_for_function("document.body.innerText.includes('MARKS')")
    assert marks(page) == after
    page.get_by_role("button", name="Start again").click()
    new = changed(page, after)
    assert new["path"] == [[500, 50], [500, 850]]
    page.get_by_test_id("point-2").wait_for(state="detached")
    drag(page, spot(page, "point-1"), (12, 0))
    assert changed(page, new)["path"][1][0] == pytest.approx(500 + 12 * scale(page), abs=0.05)
    at_desk.assert_clean()


def test_a_finger_moves_marks_and_scrolls_on_the_bare_photo(in_hand: Watched) -> None:
    page = in_hand.page
    before, k = marks(page), scale(page)
    box = page.get_by_test_id("corner-3").locator(".hit").bounding_box()
    assert [box["width"], box["height"]] == pytest.approx([44, 44], abs=0.5)
    swipe(page, spot(page, "corner-3"), (-16, 40))
    after = changed(page, before)
    assert moved(before["corners"][3], after["corners"][3]) == pytest.approx([-16 * k, 40 * k], abs=0.05)
    assert scrolled(page) == 0
    stage = page.locator(".stage").bounding_box()
    swipe(page, (stage["x"] + stage["width"] - 20, stage["y"] + stage["height"] - 20), (0, -150))
    page.wait_for_timeout(400)
    assert scrolled(page) > 80
    assert marks(page) == after
    in_hand.assert_clean()


def test_the_magnifier_is_away_from_the_finger_and_inside_the_screen(in_hand: Watched) -> None:
    page = in_hand.page
    x, y = spot(page, "point-2")
    finger = page.context.new_cdp_session(page)
    for kind, dx in (("touchStart", 0), ("touchMove", 6), ("touchMove", 12)):
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x + dx, "y": y}]})
    page.wait_for_timeout(60)
    loupe = page.locator(".loupe")
    assert loupe.is_visible()
    box = loupe.bounding_box()
    assert abs(box["x"] + box["width"] / 2 - x) > box["width"] / 2 + 22 or abs(box["y"] + 66 - y) > 88
    assert box["y"] >= 0
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert loupe.is_hidden()


def test_slider_by_keys_without_running_the_page_again(at_desk: Watched) -> None:
    page = at_desk.page
    page.get_by_role("link", name="Slider").click()
    slide = page.get_by_role("slider", name="Slide between Before and After")
    slide.wait_for()
    slide.focus()
    for _ in range(10):
        slide.press("ArrowRight")
    assert slide.input_value() == "55"
    box = slide.bounding_box()
    drag(page, (box["x"] + box["width"] * 0.55, box["y"] + 200), (-box["width"] * 0.25, 0))
    assert float(slide.input_value()) == pytest.approx(30, abs=1)
    divider = page.locator(".divider").bounding_box()
    assert divider["x"] - box["x"] == pytest.approx(box["width"] * float(slide.input_value()) / 100, abs=1.5)
    page.wait_for_timeout(300)
    assert page.get_by_text("RUNS 1 END").is_visible()
    at_desk.assert_clean()


def test_slider_by_finger_leaves_scrolling_to_the_page(in_hand: Watched) -> None:
    page = in_hand.page
    page.get_by_role("link", name="Slider").click()
    slide = page.get_by_role("slider", name="Slide between Before and After")
    slide.wait_for()
    page.wait_for_timeout(400)
    box = slide.bounding_box()
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    swipe(page, middle, (box["width"] * 0.3, 0))
    there = slide.input_value()
    assert float(there) == pytest.approx(80, abs=2)
    swipe(page, middle, (0, -120))
    page.wait_for_timeout(400)
    assert scrolled(page) > 60
    assert slide.input_value() == there
    in_hand.assert_clean()
