"""The browser's tab: each page under its own name from the first answer on, never under Streamlit's."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from stillness import settled
from test_main_job import add_client

from tracker.ui.look import drawing
from tracker.ui.navigation import ENTRIES, address, tab_title

if TYPE_CHECKING:
    from conftest import Watched

pytestmark = pytest.mark.browser

WATCH = """
window.titles = []
const note = () => {
  if (document.title && document.title !== window.titles.at(-1)) window.titles.push(document.title)
}
const look = () => { note(); requestAnimationFrame(look) }
look()
new MutationObserver(note).observe(document, { childList: true, subtree: true, characterData: true })
"""


@pytest.mark.slow  # walks over every page
def test_every_page_has_a_title_of_its_own_and_none_says_streamlit(studio: str, desktop: Watched) -> None:
    page = desktop.page
    page.add_init_script(WATCH)
    for entry in ENTRIES:
        first = page.goto(studio + address(entry.name)).text()
        assert re.findall("<title>(.*?)</title>", first) == [tab_title(entry.title)]
        assert '<html lang="en">' in first
        page.get_by_role("heading").first.wait_for()
        settled(page)
        # Streamlit itself says the bare title of the page for a moment
        assert set(page.evaluate("titles")) <= {entry.title, tab_title(entry.title)}
        assert page.title() == tab_title(entry.title)
    assert len({entry.title for entry in ENTRIES}) == len(ENTRIES)
    desktop.assert_clean()


def test_the_title_follows_the_menu_and_the_icon_stays_ours(studio: str, desktop: Watched) -> None:
    page = desktop.page
    page.add_init_script(WATCH)
    page.goto(studio)
    for name in ("Clients", "Portfolio", "Studio", "Today"):
        page.get_by_role("link", name=name, exact=True).click()
        page.wait_for_function("wanted => document.title === wanted", arg=tab_title(name))
        icon = page.evaluate("fetch(document.querySelector('link[rel~=icon]').href).then(answer => answer.text())")
        assert icon.strip() == drawing("icon")
    assert not [title for title in page.evaluate("titles") if "streamlit" in title.lower()]
    desktop.assert_clean()


def test_no_client_is_named_in_a_title(studio: str, desktop: Watched) -> None:
    page = desktop.page
    page.add_init_script(WATCH)
    page.goto(studio)
    add_client(page, "Mira")
    page.wait_for_function("wanted => document.title === wanted", arg=tab_title("Client"))
    assert not [title for title in page.evaluate("titles") if "Mira" in title]
    page.reload()
    page.get_by_role("heading", name="Mira", exact=True).wait_for()
    assert not [title for title in page.evaluate("titles") if "Mira" in title]
