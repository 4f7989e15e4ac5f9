"""Every selector of ours finds something: Streamlit's page has no contract, so what it renames must be noticed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from conftest import APP, REPOSITORY, serving_at_once
from stillness import settled
from test_main_job import MEASURING_MS, add_photo, press, sample

from tracker import workflow
from tracker.store import Store
from tracker.ui.navigation import ENTRIES, address

if TYPE_CHECKING:
    from conftest import Watched

    from tracker.store import ClientSummary

pytestmark = [pytest.mark.browser, pytest.mark.slow]

INTERFACE = REPOSITORY / "tracker" / "ui"
STYLES = ("look.css", "parts/lines.css")

RULES = """text => {
  const sheet = new CSSStyleSheet(), found = []
  const walk = rules => { for (const rule of rules) {
    if (rule.selectorText) found.push(rule.selectorText)
    else walk(rule.cssRules)
  } }
  sheet.replaceSync(text)
  walk(sheet.cssRules)
  return found
}"""
"""The selectors of a style sheet, as the browser reads them."""

MOMENTARY = re.compile(r"(?<!:):(?:hover|active|focus-visible|focus-within)(?![\w-])")
DRAWN = re.compile(r"::(?:after|before)\b")
ALWAYS = ":not(x-none)"


def split(selectors: str) -> list[str]:
    """The selectors of a list, apart at the commas that stand in no bracket."""
    parts, depth = [""], 0
    for sign in selectors:
        depth += (sign in "([") - (sign in ")]")
        if sign == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += sign
    return [part.strip() for part in parts]


def closing(text: str, start: int) -> int:
    """Where the bracket closes that opens just before `start`."""
    depth = 1
    for place in range(start, len(text)):
        depth += (text[place] == "(") - (text[place] == ")")
        if depth == 0:
            return place
    raise ValueError(text)


def hooks(selectors: str) -> Iterator[str]:
    """What must be found for each part of a selector to have its use, whatever the mouse does.

    An alternative of an ``:is()`` is such a part: each is looked for with the others of its list left out.
    """
    for selector in split(DRAWN.sub("", MOMENTARY.sub(ALWAYS, selectors))):
        groups = list(re.finditer(r":is\(", selector))
        if not groups:
            yield selector
        for group in groups:
            end = closing(selector, group.end())
            for alternative in split(selector[group.end() : end]):
                yield f"{selector[: group.start()]}:is({alternative}){selector[end + 1 :]}"


def asked_by_scripts() -> Iterator[str]:
    """What our scripts look for in Streamlit's page; those of a component look into their own shadow only."""
    for file in sorted([*INTERFACE.rglob("*.js"), *INTERFACE.rglob("*.py")]):
        for _, selector in re.findall(r"document\.querySelector(?:All)?\(([\"'`])(.*?)\1\)", file.read_text("utf-8")):
            yield re.sub(r"=\$\{.*?\}+", "", selector)


def test_alternatives_are_told_apart() -> None:
    assert list(hooks("a:hover, .b :is(p, q:active)::after")) == [
        f"a{ALWAYS}",
        ".b :is(p)",
        f".b :is(q{ALWAYS})",
    ]
    assert list(hooks(":is(a, b) :is(c)")) == [":is(a) :is(c)", ":is(b) :is(c)", ":is(a, b) :is(c)"]
    assert list(hooks('[a="x,y"]:has(> b, c)')) == ['[a="x,y"]:has(> b, c)']


def test_our_own_classes_are_all_written() -> None:
    styled = {name for sheet in STYLES for name in re.findall(r"\.(t-[a-z-]+)", (INTERFACE / sheet).read_text("utf-8"))}
    written = (INTERFACE / "look.py").read_text("utf-8")
    assert {name for name in styled if not re.search(rf"\b{name}\b", written)} == {"t-done", "t-now"}
    assert 'class="t-{state}"' in written
    assert styled > {"t-done", "t-now", "t-stop", "t-photo"}


def reaches_into_streamlit(selector: str) -> bool:
    """False where nothing is named but elements and classes of our own."""
    return re.search(r"[\[.#]", re.sub(r"\.t-[a-z-]+|\.?\bx-none\b", "", selector)) is not None


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[tuple[str, list[ClientSummary]]]:
    """The whole app with the demo studio; yields its address and its clients."""
    home = tmp_path / "studio"
    with Store(home) as store:
        workflow.load_demo(store)
        clients = store.clients.summaries()
    with serving_at_once(APP, home, tmp_path / "server.log") as started:
        yield started, clients


class Search:
    """The hooks that were not met yet, on a walk through the pages."""

    def __init__(self, page: Any, root: str) -> None:
        self.page, self.root = page, root
        page.goto(root)
        selectors = [each for name in STYLES for each in page.evaluate(RULES, (INTERFACE / name).read_text("utf-8"))]
        wanted = [hook for selector in selectors for hook in hooks(selector)]
        self.missing = {each for each in [*wanted, *asked_by_scripts()] if reaches_into_streamlit(each)}

    def look(self) -> None:
        """Note what this page has."""
        settled(self.page)
        self.missing -= set(
            self.page.evaluate("all => all.filter(each => document.querySelector(each))", [*self.missing])
        )

    def open(self, address: str) -> None:
        """Open a page by its address, and look."""
        self.page.goto(self.root + address)
        self.page.get_by_role("heading").first.wait_for()
        self.look()

    def press(self, name: str) -> None:
        """Press a button, and look."""
        press(self.page, name)
        self.look()

    def unfold(self, name: str) -> None:
        """Open what is folded away, and look."""
        settled(self.page)
        self.page.locator("summary", has_text=name).first.click()
        self.look()


def walk(search: Search, noor: str, other: str) -> None:
    """Every page, and the states that a style sheet has rules for."""
    page = search.page
    for entry in ENTRIES:
        search.open(address(entry.name))
    search.open(address("due"))
    search.press("Contact note")
    search.open(address("client", client=noor))
    search.press("Save this chart")
    page.keyboard.press("Escape")
    search.unfold("Hand over this record")
    search.press("Put it together")
    page.get_by_role("link", name="Save the file").wait_for()
    search.look()
    page.locator('[class*="st-key-event-"] a').first.click()
    search.unfold("How this was measured")
    search.open(address("merge", client=noor, other=other))
    price(search)
    visit(search, other)
    page.set_viewport_size({"width": 390, "height": 844})
    search.look()


def price(search: Search) -> None:
    """A product on the price list, and off it."""
    search.open(address("prices"))
    page = search.page
    page.get_by_label("Product", exact=True).fill("Powder")
    page.get_by_label("Pack", exact=True).fill("500")
    page.get_by_label("Price of a pack", exact=True).fill("30")
    page.get_by_label("Currency", exact=True).fill("EUR")
    search.press("Add the product")
    page.get_by_text("Powder is on the list").wait_for()
    search.look()
    search.press("Remove")
    press(page, "Remove it")
    page.get_by_text("Powder is off the list").wait_for()
    search.look()


def visit(search: Search, client: str) -> None:
    """A visit with one photo, to its steps."""
    page = search.page
    search.open(address("new_visit", client=client))
    add_photo(page, sample("before"), 1)
    search.press("Go on without the other")
    search.press("Looks right")
    page.get_by_role("button", name="Next: save").wait_for(timeout=MEASURING_MS)
    search.look()
    search.press("Next: save")
    search.press("Copy the steps of")


def test_every_rule_and_every_script_finds_something_in_streamlits_page(
    demo: tuple[str, list[ClientSummary]], desktop: Watched
) -> None:
    started, clients = demo
    desktop.page.set_default_timeout(MEASURING_MS)  # photos are measured on the way
    search = Search(desktop.page, started)
    invented = {".no-such-class", ":is(.no-such-class)"}
    assert len(search.missing) > 80
    search.missing |= invented
    noor = next(each.client.id for each in clients if each.client.name == "Noor")
    walk(search, noor, next(each.client.id for each in clients if each.client.name != "Noor"))
    assert search.missing == invented
