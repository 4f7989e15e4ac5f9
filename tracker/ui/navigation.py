"""The pages, the way between them, and what a person sees when one of them fails.

Pages use `link`, `go_to` and `address` to lead to one another.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import Never
from urllib.parse import urlencode
from uuid import uuid4

import streamlit as st

from tracker import NAME
from tracker.errors import TrackerError
from tracker.ui import look
from tracker.ui.parts.focus import moved_on
from tracker.ui.parts.forgetting import forget_the_erased
from tracker.ui.parts.refusal_view import refused

_log = logging.getLogger("tracker.ui")


@dataclass(frozen=True, slots=True)
class Entry:
    """One page: its name in code and in the address, its words in the menu.

    Attributes
    ----------
    name : str, module under `tracker.ui.pages`
    title : str, shown in the menu and in the browser's tab; never a client's name, because browsers keep titles
    path : str, the address; empty for the first page
    listed : bool, False for pages that are only reached through a link
    """

    name: str
    title: str
    path: str
    listed: bool = True


ENTRIES = (
    Entry("today", "Today", ""),
    Entry("due", "Who is due", "who-is-due"),
    Entry("clients", "Clients", "clients"),
    Entry("client", "Client", "client", listed=False),
    Entry("new_visit", "New visit", "new-visit"),
    Entry("compare", "Compare", "compare", listed=False),
    Entry("results", "Past results", "past-results", listed=False),
    Entry("services_wear", "How services wear", "how-services-wear", listed=False),
    Entry("prices", "Price list", "prices", listed=False),
    Entry("photo_guide", "How to take a photo", "photo-guide", listed=False),
    Entry("card_guide", "How to make a card", "card-guide", listed=False),
    Entry("merge", "Merge two records", "merge", listed=False),
    Entry("data", "My data", "my-data", listed=False),
    Entry("bring_in", "Bring in a list", "bring-in", listed=False),
    Entry("set_up_check", "Set-up check", "set-up-check", listed=False),
    Entry("level_scale", "Level scale", "level-scale", listed=False),
    Entry("neutral", "Natural hair", "natural-hair", listed=False),
    Entry("portfolio", "Portfolio", "portfolio"),
    Entry("studio", "Studio", "studio"),
)

PATHS = {f"/{entry.path}": entry.title for entry in ENTRIES}
"""The addresses of the pages, without their query strings, and the title of each."""


def page(name: str) -> st.Page:
    """The page of that name, for `st.switch_page` and `st.page_link`."""
    entry = _entry(name)
    return st.Page(
        _guarded(entry),
        title=entry.title,
        url_path=entry.path or entry.name,
        default=not entry.path,
        visibility="visible" if entry.listed else "hidden",
    )


def go_to(name: str, **query: str) -> Never:
    """Leave for another page, for example ``go_to("client", client=client.id)``."""
    moved_on()
    st.switch_page(page(name), query_params=query)
    raise AssertionError("the page was left")


def link(name: str, label: str, **query: str) -> None:
    """A link to another page of the app; ``label`` is Markdown, so escape what a person typed."""
    st.page_link(page(name), label=label, query_params=query or None)


def address(name: str, **query: str) -> str:
    """The page's address within the app, for links inside written HTML."""
    return f"/{_entry(name).path}" + (f"?{urlencode(query)}" if query else "")


def tab_title(title: str) -> str:
    """What a browser's tab says of the page with this title; empty for a page that is not known."""
    return f"{title} · {NAME}" if title else NAME


def show_failure(error: Exception) -> bool:
    """Say what went wrong: an expected failure in its own words, anything else as one line with a number to look up.

    Returns
    -------
    bool : True, which tells `st.App` that nothing more need be shown
    """
    if isinstance(error, TrackerError):
        look.failure(error.what, error.advice)
        return True
    number = uuid4().hex[:8]
    _log.error("failure %s", number, exc_info=error)
    look.failure(
        "Something went wrong on this page. What was saved before is safe.",
        f"Open the page again. If it happens again, note the number {number}: the program’s log has the details.",
    )
    return True


def _entry(name: str) -> Entry:
    return next(entry for entry in ENTRIES if entry.name == name)


def _guarded(entry: Entry) -> Callable[[], None]:
    def run() -> None:
        try:
            import_module(f"tracker.ui.pages.{entry.name}").page()
        except Exception as error:  # the last chance to put any failure into words
            show_failure(error)

    return run


def _phone_menu() -> None:
    """The same pages at the lower edge of a narrow screen, under the thumb; the style sheet hides it on wide ones."""
    with st.bottom, st.container(key="phone-menu", horizontal=True, wrap=False, gap=None):
        for entry in ENTRIES:
            if entry.listed:
                st.page_link(page(entry.name), label=entry.title)


def main() -> None:
    """Show the page that was asked for."""
    chosen = st.navigation([page(entry.name) for entry in ENTRIES], position="top")
    st.set_page_config(page_title=tab_title(chosen.title), layout="centered")
    _phone_menu()
    if not refused():
        forget_the_erased()
        chosen.run()
