"""The two components in a real browser: mouse, keyboard and finger, down to the pixel."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image
from stillness import settled

from tracker.measure.hair.bands import BANDS
from tracker.measure.hair.outline import FEWEST, MOST, Outline
from tracker.measure.hair.whole import extent, straighten_whole

if TYPE_CHECKING:
    from conftest import Serve, Watched

pytestmark = pytest.mark.browser

SIZE = (1200, 900)
SCRIPT = """
import json
import time
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
    "path": [[700, 120], [720, 400], [700, 780]],
    "outline": [[600, 60], [820, 60], [900, 450], [820, 840], [600, 840], [520, 450]],
})
if st.query_params.get("hair") == "unmarked" and "unmarked" not in kept:
    kept.unmarked = True
    kept.marks |= {"path": [], "outline": None}


def found_about(path):
    xs, ys = [x for x, _ in path], [y for _, y in path]
    left, top, right, bottom = min(xs) - 90, min(ys) - 40, max(xs) + 90, max(ys) + 30
    return [[left, top], [right, top], [right, bottom], [left, bottom]]


def editor():
    asked = st.query_params.get("card") == "asked" and not kept.get("found")
    marks = edit_marks(
        key="marks-editor", url="/photo.jpg", size=(1200, 900), rev=kept.rev, label="Hair", tap_card=asked, **kept.marks
    )
    if marks.near is not None:
        time.sleep(0.6)
        x, y = marks.near
        if x < 900:  # further right there is none
            kept.marks["corners"] = [[x - 80, y - 60], [x + 80, y - 60], [x + 80, y + 60], [x - 80, y + 60]]
            kept.found = True
        kept.rev += 1
        st.rerun()
    before = kept.marks
    kept.marks = {"corners": marks.corners, "path": marks.path, "outline": marks.outline}
    if st.button("From Python"):
        kept.marks = {"corners": [[0, 0], [90, 0], [90, 90], [0, 90]], "path": [[500, 50], [500, 850]],
                      "outline": [[400, 20], [600, 20], [600, 880], [400, 880]]}
        kept.rev += 1
        st.rerun()
    if marks.asks_for_outline and marks.path != before["path"]:
        time.sleep(0.6)  # a search takes its time
        if st.query_params.get("search") != "in vain":
            kept.marks["outline"] = found_about(marks.path)
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


@pytest.fixture
def unmarked_at_desk(address: str, desktop: Watched) -> Watched:
    return load(desktop, f"{address}/?hair=unmarked")


@pytest.fixture
def unmarked_in_hand(address: str, phone: Watched) -> Watched:
    return load(phone, f"{address}/?hair=unmarked")


def load(watched: Watched, address: str) -> Watched:
    watched.page.goto(address)
    watched.page.get_by_test_id("corner-0").wait_for()
    watched.page.wait_for_function("document.body.innerText.includes('MARKS')")
    settled(watched.page)
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


def once(page: Any, wanted: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    """The marks as soon as Python has them as they are wanted."""
    for _ in range(300):
        now = marks(page)
        if wanted(now):
            return now
        page.wait_for_timeout(100)
    return pytest.fail(f"Python still has {now}")


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


def place(page: Any, x: float, y: float) -> tuple[float, float]:
    """Where a pixel of the photo is on the screen, the whole photo being shown."""
    box, k = page.locator(".stage").bounding_box(), scale(page)
    return box["x"] + x / k, box["y"] + y / k


def focused(page: Any) -> str | None:
    """The handle that has the keyboard."""
    return page.evaluate("document.activeElement.shadowRoot?.activeElement?.dataset.testid ?? null")


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


def test_a_point_of_the_outline_goes_where_it_is_dragged_and_never_leaves_the_photo(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    drag(page, spot(page, "outline-2"), (35, -20))
    after = changed(page, before)
    assert moved(before["outline"][2], after["outline"][2]) == pytest.approx([35 * k, -20 * k], abs=0.02)
    others = [i for i in range(6) if i != 2]
    assert [after["outline"][i] for i in others] == [before["outline"][i] for i in others]
    assert [after["path"], after["corners"]] == [before["path"], before["corners"]]
    drag(page, spot(page, "outline-1"), (900, -500))
    assert changed(page, after)["outline"][1] == [1200, 0]
    at_desk.assert_clean()


def test_root_tip_and_what_lies_between_are_dragged_inside_the_outline(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    drag(page, spot(page, "point-1"), (-22, 14))
    after = changed(page, before)
    assert moved(before["path"][1], after["path"][1]) == pytest.approx([-22 * k, 14 * k], abs=0.02)
    drag(page, spot(page, "point-2"), (12, -40))
    last = changed(page, after)
    assert moved(after["path"][2], last["path"][2]) == pytest.approx([12 * k, -40 * k], abs=0.02)
    assert last["outline"] == before["outline"]
    words = page.locator(".stage text").evaluate_all("all => all.map(one => one.textContent)")
    assert {"root", "tip", "roots", "mid-lengths", "ends"} <= set(words)


def test_three_quick_drags_are_all_kept(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    for _ in range(3):
        drag(page, spot(page, "point-0"), (15, 4))
    goal = pytest.approx([45 * k, 12 * k], abs=0.05)
    once(page, lambda now: moved(before["path"][0], now["path"][0]) == goal)


def test_of_two_handles_under_a_finger_the_nearer_moves_and_the_picked_one_if_they_are_as_near(
    at_desk: Watched,
) -> None:
    page = at_desk.page
    before = marks(page)
    drag(page, spot(page, "outline-0"), moved(spot(page, "outline-0"), spot(page, "point-0")))
    first = changed(page, before)  # one lies upon the other
    drag(page, spot(page, "outline-0"), (-60, 0))
    apart = changed(page, first)
    assert apart["path"] == first["path"]
    drag(page, spot(page, "outline-0"), (30, 0))
    near = changed(page, apart)
    x, y = spot(page, "point-0")
    page.mouse.move(x - 5, y)  # well inside the target of the other as well
    assert page.locator(".handle.near").evaluate_all("all => all.map(one => one.dataset.testid)") == ["point-0"]
    drag(page, (x - 5, y), (0, 30))
    assert changed(page, near)["outline"] == near["outline"]


@pytest.mark.parametrize(
    "path",
    [
        [[700, 120], [720, 400], [700, 780]],
        [[640, 200], [860, 330], [730, 560], [840, 800]],  # bent and aslant
    ],
)
def test_the_bands_that_are_drawn_are_the_bands_that_are_read(at_desk: Watched, path: list[list[float]]) -> None:
    """Their areas, against the grid on which the measurement reads them."""
    page = at_desk.page
    if len(path) > 3:
        page.get_by_test_id("point-1").focus()
        page.keyboard.press("Insert")
        for index, (x, y) in enumerate(path):
            goal = place(page, x, y)
            drag(page, spot(page, f"point-{index}"), moved(spot(page, f"point-{index}"), goal))
            settled(page)
    now = once(page, lambda now: np.shape(now["path"]) == np.shape(path) and np.allclose(now["path"], path, atol=1.5))
    outline, way = tuple(map(tuple, now["outline"])), tuple(map(tuple, now["path"]))
    hair = Shape(Outline(outline))
    strip = straighten_whole(np.zeros((900, 1200, 3), np.uint8), way, hair, extent(way, outline))
    down = np.subtract(way[-1], way[0]) / np.linalg.norm(np.subtract(way[-1], way[0]))
    rows = strip.x[:, 0] * down[0] + strip.y[:, 0] * down[1]
    x, y = np.meshgrid(np.arange(1200) + 0.5, np.arange(900) + 0.5)
    height = x * down[0] + y * down[1]
    for band, area in zip(BANDS, page.locator(".area").all(), strict=True):
        corners = [one.split() for one in re.findall(r"[-\d.e]+ [-\d.e]+", area.get_attribute("d"))]
        read = rows[strip.rows(band.start, band.stop)]
        pixels = hair.at(x, y) & (height >= read.min()) & (height <= read.max())
        drawn = Outline(tuple((float(one), float(two)) for one, two in corners))
        assert drawn.area == pytest.approx(pixels.sum(), rel=0.03)
        assert np.mean(drawn.holds(x, y)[pixels]) > 0.98


@dataclass(frozen=True)
class Shape:
    """All that lies inside an outline is hair."""

    outline: Outline

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return self.outline.holds(x, y)


def test_keys_move_by_pixels_of_the_screen_and_focus_goes_card_first(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    page.get_by_test_id("corner-0").focus()
    order = []
    for _ in range(14):
        order.append(focused(page))
        page.keyboard.press("Tab")
    card = [*(f"corner-{i}" for i in range(4)), "card-0"]
    assert order == [*card, *(f"outline-{i}" for i in range(6)), *(f"point-{i}" for i in range(3))]
    page.get_by_test_id("corner-0").focus()
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowDown")
    after = changed(page, before)
    assert moved(before["corners"][0], after["corners"][0]) == pytest.approx([5 * k, 10 * k], abs=0.05)
    settled(page)
    assert focused(page) == "corner-0"
    page.keyboard.press("Control+z")
    assert changed(page, after) == before
    page.get_by_test_id("outline-4").focus()
    page.keyboard.press("Shift+ArrowUp")
    assert moved(before["outline"][4], changed(page, before)["outline"][4]) == pytest.approx([0, -10 * k], abs=0.05)


def test_what_cannot_be_seen_is_told(at_desk: Watched) -> None:
    page = at_desk.page
    told = page.get_by_test_id("outline-4")
    assert told.get_attribute("aria-label") == "Outline point 5: 600 across, 840 down. Arrow keys move it."
    assert page.get_by_test_id("point-0").get_attribute("aria-label").startswith("Root: 700 across, 120 down.")
    told.focus()
    page.keyboard.press("Shift+ArrowUp")
    page.get_by_text(re.compile(r"Outline point 5: 600 across, 8\d\d down\.$")).wait_for(state="attached")


def test_points_of_the_outline_are_added_removed_and_brought_back(at_desk: Watched) -> None:
    page = at_desk.page
    before = marks(page)
    page.mouse.click(*spot(page, "add-1"))
    seven = changed(page, before)
    assert [len(before["outline"]), len(seven["outline"])] == [6, 7]
    assert seven["outline"][2] == pytest.approx([860, 255], abs=0.05)
    page.get_by_test_id("outline-2").focus()
    page.keyboard.press("Delete")
    six = changed(page, seven)
    assert six["outline"] == before["outline"]
    page.get_by_role("button", name="Undo").click()
    assert changed(page, six) == seven
    page.mouse.click(*spot(page, "outline-2"))
    page.get_by_role("button", name="Remove point").click()
    six = changed(page, seven)
    assert six["outline"] == before["outline"]
    first, last = spot(page, "outline-0"), spot(page, "outline-5")  # of the edge that closes it
    page.mouse.dblclick(last[0] + (first[0] - last[0]) * 0.25, last[1] + (first[1] - last[1]) * 0.25)
    seven = changed(page, six)
    assert seven["outline"][:6] == before["outline"]
    assert seven["outline"][6] == pytest.approx([540, 352.5], abs=1.5)
    at_desk.assert_clean()


def test_a_plus_becomes_a_point_that_the_same_drag_moves(at_desk: Watched) -> None:
    page = at_desk.page
    before, k = marks(page), scale(page)
    drag(page, spot(page, "add-3"), (10, 18))
    after = changed(page, before)
    assert after["outline"][4] == pytest.approx([710 + 10 * k, 840 + 18 * k], abs=0.05)
    page.get_by_role("button", name="Undo").click()
    assert changed(page, after) == before


def test_an_outline_has_sixteen_points_at_most_and_three_at_least(at_desk: Watched) -> None:
    page = at_desk.page
    assert page.locator(".adder").count() == 6
    page.get_by_test_id("outline-0").focus()
    for _ in range(MOST - 6):
        page.keyboard.press("Insert")
    full = once(page, lambda now: len(now["outline"]) == MOST)
    assert page.locator(".adder").count() == 0
    page.keyboard.press("Insert")
    page.get_by_text("There are 16 points already, which is the most. Remove one first.").wait_for(state="attached")
    x, y = spot(page, "outline-15")
    last = spot(page, "outline-14")
    page.mouse.dblclick((x + last[0]) / 2, (y + last[1]) / 2)
    settled(page)
    assert marks(page) == full
    page.get_by_test_id("outline-3").focus()
    for _ in range(MOST):
        page.keyboard.press("Delete")
    assert page.get_by_role("button", name="Remove point").is_disabled()
    once(page, lambda now: len(now["outline"]) == FEWEST)
    for _ in range(MOST - FEWEST):
        page.keyboard.press("Control+z")
    once(page, lambda now: now == full)
    at_desk.assert_clean()


def test_points_between_root_and_tip_are_added_and_removed_but_neither_end(at_desk: Watched) -> None:
    page = at_desk.page
    before = marks(page)
    page.mouse.click(*spot(page, "point-0"))
    assert page.get_by_role("button", name="Remove point").is_disabled()
    page.keyboard.press("Delete")
    settled(page)
    assert marks(page) == before
    page.keyboard.press("Insert")
    four = changed(page, before)
    assert four["path"][1] == pytest.approx([710, 260], abs=0.05)
    page.get_by_test_id("point-2").focus()
    page.keyboard.press("Delete")
    assert len(changed(page, four)["path"]) == 3


def test_starting_again_drops_the_hair_with_one_press_and_undo_brings_it_back(at_desk: Watched) -> None:
    page = at_desk.page
    before = marks(page)
    page.get_by_role("button", name="Start again").click()
    none = changed(page, before)
    assert none == {"corners": before["corners"], "path": [], "outline": None}
    assert page.locator(".asks").inner_text() == "Tap the root of the hair"
    assert page.get_by_role("button", name="Start again").is_disabled()
    page.get_by_role("button", name="Undo").click()
    assert changed(page, none) == before
    assert page.locator(".asks").is_hidden()
    at_desk.assert_clean()


ROOT, MIDDLE, TIP = (700, 150), (715, 420), (690, 760)


def is_found(now: dict[str, Any]) -> bool:
    return now["outline"] is not None


def test_three_taps_of_a_finger_find_the_hair(unmarked_in_hand: Watched) -> None:
    page = unmarked_in_hand.page
    before = marks(page)
    assert [before["path"], before["outline"]] == [[], None]
    for (x, y), asked in zip((ROOT, MIDDLE, TIP), ("root of the hair", "middle of the hair", "tips"), strict=True):
        assert page.locator(".asks").inner_text() == f"Tap the {asked}"
        page.touchscreen.tap(*place(page, x, y))
    page.get_by_text("Looking for the hair", exact=True).wait_for()
    found, k = once(page, is_found), scale(page)
    assert page.locator(".asks").is_hidden()
    assert np.allclose(found["path"], [ROOT, MIDDLE, TIP], atol=k)
    assert len(found["outline"]) == 4
    unmarked_in_hand.assert_clean()


def test_while_taps_are_asked_for_a_swipe_scrolls_and_a_rest_sets_nothing(unmarked_in_hand: Watched) -> None:
    page = unmarked_in_hand.page
    swipe(page, place(page, 700, 800), (0, -150))
    page.wait_for_function("document.querySelector('[data-testid=stMain]').scrollTop > 80")
    assert page.get_by_test_id("tap-0").count() == 0
    page.evaluate("document.querySelector('[data-testid=stMain]').scrollTop = 0")
    settled(page)
    finger = page.context.new_cdp_session(page)
    x, y = place(page, *ROOT)
    finger.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    page.wait_for_timeout(560)
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    settled(page)
    assert page.get_by_test_id("tap-0").count() == 0
    page.touchscreen.tap(*place(page, *ROOT))
    page.get_by_test_id("tap-0").wait_for()
    unmarked_in_hand.assert_clean()


def test_a_tapped_point_is_dragged_and_undo_takes_back_the_last(unmarked_at_desk: Watched) -> None:
    page = unmarked_at_desk.page
    nothing = marks(page)
    page.mouse.click(*place(page, *ROOT))
    page.mouse.click(*place(page, *MIDDLE))
    drag(page, spot(page, "tap-0"), (-30, 12))
    k = scale(page)
    assert spot(page, "tap-0") == pytest.approx(place(page, ROOT[0] - 30 * k, ROOT[1] + 12 * k), abs=1)
    page.get_by_role("button", name="Undo").click()
    assert spot(page, "tap-0") == pytest.approx(place(page, *ROOT), abs=1)
    page.get_by_role("button", name="Undo").click()
    page.get_by_test_id("tap-1").wait_for(state="detached")
    assert page.locator(".asks").inner_text() == "Tap the middle of the hair"
    assert marks(page) == nothing
    page.mouse.click(*place(page, *MIDDLE))
    page.mouse.click(*place(page, *TIP))
    found = once(page, is_found)
    page.get_by_role("button", name="Undo").click()
    assert changed(page, found) == nothing
    assert page.locator(".asks").inner_text() == "Tap the tips"
    unmarked_at_desk.assert_clean()


def test_undo_goes_back_behind_the_taps_to_the_outline_before_them(at_desk: Watched) -> None:
    page = at_desk.page
    first = marks(page)
    page.get_by_role("button", name="Start again").click()
    for x, y in (ROOT, MIDDLE, TIP):
        page.mouse.click(*place(page, x, y))
    found = once(page, lambda now: is_found(now) and now != first)
    assert len(found["outline"]) == 4
    for _ in range(4):  # three taps and the start
        page.get_by_role("button", name="Undo").click()
    once(page, lambda now: now == first)
    assert page.get_by_role("button", name="Undo").is_disabled()


def test_where_no_hair_is_found_the_three_points_stay_and_can_be_moved(address: str, desktop: Watched) -> None:
    page = load(desktop, f"{address}/?hair=unmarked&search=in vain").page
    for x, y in (ROOT, MIDDLE, TIP):
        page.mouse.click(*place(page, x, y))
    page.get_by_text("Looking for the hair", exact=True).wait_for(state="hidden")
    lost = once(page, lambda now: bool(now["path"]))
    assert [np.allclose(lost["path"], [ROOT, MIDDLE, TIP], atol=scale(page)), lost["outline"]] == [True, None]
    assert page.locator(".point.main text").all_text_contents() == ["root", "middle", "tip"]
    assert page.locator(".asks").is_hidden()
    drag(page, spot(page, "point-1"), (20, 10))
    page.get_by_text("Looking for the hair", exact=True).wait_for()
    page.get_by_text("Looking for the hair", exact=True).wait_for(state="hidden")
    assert moved(lost["path"][1], changed(page, lost)["path"][1]) == pytest.approx(
        [20 * scale(page), 10 * scale(page)], abs=0.05
    )
    desktop.assert_clean()


def test_three_points_by_the_keyboard_alone(unmarked_at_desk: Watched) -> None:
    page = unmarked_at_desk.page
    cross, k = page.get_by_test_id("aim-0"), scale(page)
    page.get_by_test_id("card-0").focus()
    page.keyboard.press("Tab")
    assert focused(page) == "aim-0"
    label = "Cross for the root of the hair: 600 across, 450 down. Arrow keys move it, Enter sets the point."
    assert cross.get_attribute("aria-label") == label
    for times, key in ((10, "Shift+ArrowUp"), (15, "Shift+ArrowDown"), (12, "Shift+ArrowDown")):
        for _ in range(times):
            page.keyboard.press(key)
        page.keyboard.press("Enter")
        if times == 10:
            page.keyboard.press("Enter")  # once more in the same place: no way leads from a point to itself
            page.get_by_text("Too near to the root. Tap the middle of the hair").wait_for(state="attached")
    path = once(page, is_found)["path"]
    assert path[0] == pytest.approx([600, 450 - 100 * k], abs=0.05)
    assert path[1] == pytest.approx([600, 450 + 50 * k], abs=0.05)
    assert path[2] == pytest.approx([600, min(900, 450 + 170 * k)], abs=0.05)
    assert focused(page) == "point-2"
    page.keyboard.press("Control+z")
    assert page.locator(".asks").inner_text() == "Tap the tips"
    once(page, lambda now: now["path"] == [])
    unmarked_at_desk.assert_clean()


CARD_HERE, NOTHING_HERE = (420, 650), (1000, 700)


def test_one_tap_of_a_finger_finds_the_card_even_on_a_mark(address: str, phone: Watched) -> None:
    page = load(phone, f"{address}/?card=asked").page
    before = marks(page)
    assert page.locator(".asks").inner_text() == "Tap inside the card"
    swipe(page, place(page, 1000, 800), (0, -150))
    page.wait_for_function("document.querySelector('[data-testid=stMain]').scrollTop > 80")
    page.evaluate("document.querySelector('[data-testid=stMain]').scrollTop = 0")
    settled(page)
    assert marks(page) == before, "a swipe is no tap"
    page.touchscreen.tap(*place(page, *NOTHING_HERE))
    page.get_by_text("Looking for the card", exact=True).wait_for()
    page.get_by_text("Tap inside the card", exact=True).wait_for()
    assert marks(page) == before
    page.touchscreen.tap(*spot(page, "corner-2"))
    found, k = changed(page, before), scale(page)
    assert np.allclose(np.mean(found["corners"], axis=0), before["corners"][2], atol=k)
    assert [found["path"], found["outline"]] == [before["path"], before["outline"]]
    assert page.locator(".asks").is_hidden()
    phone.assert_clean()


def test_one_click_finds_the_card_corners_can_be_dragged_meanwhile_and_undo_takes_it_back(
    address: str, desktop: Watched
) -> None:
    page = load(desktop, f"{address}/?card=asked").page
    before = marks(page)
    drag(page, spot(page, "corner-1"), (30, 10))
    dragged = changed(page, before)
    page.mouse.click(*place(page, *CARD_HERE))
    page.get_by_text("Looking for the card", exact=True).wait_for()
    drag(page, spot(page, "corner-1"), (20, 0))  # stops the run that looks for it
    found = once(page, lambda now: np.allclose(np.mean(now["corners"], axis=0), CARD_HERE, atol=scale(page)))
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Undo").click()
    once(page, lambda now: now["corners"] == dragged["corners"])
    assert found["outline"] == before["outline"]
    desktop.assert_clean()


def test_the_card_is_found_by_the_keyboard_alone(address: str, desktop: Watched) -> None:
    page = load(desktop, f"{address}/?card=asked").page
    page.get_by_test_id("card-0").focus()
    page.keyboard.press("Tab")
    assert focused(page) == "aim-0"
    label = "Cross for the card: 600 across, 450 down. Arrow keys move it, Enter looks for the card there."
    assert page.get_by_test_id("aim-0").get_attribute("aria-label") == label
    before, k = marks(page), scale(page)
    for _ in range(4):
        page.keyboard.press("Shift+ArrowLeft")
    page.keyboard.press("Enter")
    found = changed(page, before)
    assert np.allclose(np.mean(found["corners"], axis=0), [600 - 40 * k, 450], atol=0.05)
    page.wait_for_function("document.activeElement.shadowRoot?.activeElement?.dataset.testid === 'card-0'")
    desktop.assert_clean()


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


def test_a_tap_on_the_photo_enlarged_sets_a_point_and_a_drag_pans(unmarked_at_desk: Watched) -> None:
    page = unmarked_at_desk.page
    page.get_by_role("button", name="Zoom 2 times").click()
    stage, k = page.locator(".stage").bounding_box(), scale(page)
    x, y = stage["x"] + stage["width"] * 0.75, stage["y"] + stage["height"] * 0.25
    drag(page, (x, y), (-40, 30))
    assert page.get_by_test_id("tap-0").count() == 0
    page.mouse.click(x, y)
    assert spot(page, "tap-0") == pytest.approx((x, y), abs=0.6)
    wanted = f"Root: {round(600 + stage['width'] * 0.25 * k + 40 * k)} across, "
    assert page.get_by_test_id("tap-0").get_attribute("aria-label").startswith(wanted)


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
    page.get_by_role("button", name="From Python").click()
    new = changed(page, after)
    assert new["path"] == [[500, 50], [500, 850]]
    page.get_by_test_id("point-2").wait_for(state="detached")
    assert page.get_by_role("button", name="Undo").is_disabled()
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
