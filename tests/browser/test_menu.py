"""The way between the pages, on a desk and in a hand."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Watched

pytestmark = pytest.mark.browser

LISTED = ("Today", "Clients", "New visit", "Portfolio", "Studio")


def test_an_address_opened_first_is_a_page_and_the_menu_leads_on(studio: str, desktop: Watched) -> None:
    page = desktop.page
    page.goto(f"{studio}/studio")
    page.get_by_role("heading", name="Studio", exact=True).wait_for()
    assert page.get_by_text("Page not found").count() == 0
    for name in LISTED:
        page.get_by_role("link", name=name, exact=True).click()
        page.get_by_role("heading", name=name, exact=True).wait_for()
    assert page.get_by_role("link", name="Compare").count() == 0
    desktop.assert_clean()


def test_a_phone_never_sees_the_menu_of_a_desk(studio: str, phone: Watched) -> None:
    page = phone.page
    page.add_init_script(
        """window.seen = 0; const look = () => {
          for (const part of document.querySelectorAll(".stAppHeader, .stSidebar"))
            window.seen += getComputedStyle(part).display !== "none"
          requestAnimationFrame(look) }; requestAnimationFrame(look)"""
    )
    for address in (studio, f"{studio}/clients"):
        page.goto(address)
        page.get_by_role("link", name="Portfolio", exact=True).wait_for()
        page.locator(".stAppHeader").wait_for(state="attached")
        assert page.evaluate("window.seen") == 0
    phone.assert_clean()


def test_on_a_phone_the_menu_is_at_the_lower_edge_and_covers_nothing(studio: str, phone: Watched) -> None:
    page = phone.page
    page.goto(studio)
    page.get_by_role("heading", name="Today", exact=True).wait_for()
    links = [page.get_by_role("link", name=name, exact=True) for name in LISTED]
    boxes = [link.bounding_box() for link in links]
    assert all(box["y"] > 844 - 70 and box["height"] >= 44 for box in boxes)
    assert all(left["x"] + left["width"] <= right["x"] + 1 for left, right in pairwise(boxes))
    assert boxes[-1]["x"] + boxes[-1]["width"] <= 390
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    links[-1].tap()
    page.get_by_role("heading", name="Studio", exact=True).wait_for()
    page.get_by_text("My photos then leave the portfolio at once", exact=False).wait_for()
    page.wait_for_function(
        """() => { const main = document.querySelector("[data-testid=stMain]"); main.scrollTo(0, main.scrollHeight)
          return document.querySelector("[data-test-script-state=notRunning]") &&
            main.scrollTop + main.clientHeight >= main.scrollHeight - 1 }"""
    )
    lowest = page.locator(".stMainBlockContainer > div").first.bounding_box()
    assert lowest["y"] + lowest["height"] < boxes[0]["y"]
    phone.assert_clean()
