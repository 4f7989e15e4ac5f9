"""Noting the steps of a service: in a hand, and by keyboard alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from stillness import settled

from tracker import workflow
from tracker.record.records import MEASURING, Draft, Step, Visit, new_id, now
from tracker.store import Store

if TYPE_CHECKING:
    from conftest import Serve, Watched

pytestmark = pytest.mark.browser

APP = Path(__file__).parents[2] / "app.py"
FINGER = 44  # CSS pixels: WCAG 2.2, success criterion 2.5.5, target size (enhanced)

STEP = Step("mid-lengths", "lightener", "powder", 40.0)


@pytest.fixture
def draft(tmp_path: Path) -> Draft:
    """A visit at its last step, of a client who was here before."""
    with Store(tmp_path / "studio") as store:
        client = workflow.add_client(store, "Cleo", "", {MEASURING: True}, "me")
        store.visits.save(Visit(new_id(), client.id, now().date(), ("toner",), (STEP,), "", "", now()), [])
        begun = workflow.start_draft(store, client.id, "visit")
        return workflow.keep_draft(store, replace(begun, step=3))


@pytest.fixture
def address(tmp_path: Path, draft: Draft, serve: Serve) -> Iterator[str]:
    """The draft's page in a running app."""
    with serve(APP, tmp_path / "studio", tmp_path / "server.log") as root:
        yield f"{root}/new-visit?draft={draft.id}"


def kept(tmp_path: Path, draft: Draft) -> tuple[Step, ...]:
    """The steps that the draft holds."""
    with Store(tmp_path / "studio") as store:
        visit = store.drafts.get(draft.id).visit
    return visit.steps if visit is not None else ()


def test_in_a_hand(address: str, phone: Watched, tmp_path: Path, draft: Draft) -> None:
    page = phone.page
    page.goto(address)
    settled(page)
    page.get_by_role("button", name="Copy the steps").tap()
    settled(page)
    page.get_by_role("button", name="Add a step").tap()
    settled(page)
    form = page.locator(".st-key-steps-" + draft.id + "-form")
    assert not page.get_by_label("Minutes").is_visible()  # only where, what and the product at first
    form.get_by_text("Ends", exact=True).tap()
    settled(page)
    form.get_by_text("Toner", exact=True).tap()
    settled(page)
    form.get_by_text("More", exact=True).tap()
    form.get_by_text("20 vol (6 %)", exact=True).tap()
    settled(page)
    sizes = form.locator("button:visible, input:visible, summary:visible").evaluate_all(
        "all => all.filter(e => !e.closest('[data-testid=stNumberInputContainer]'))"
        ".map(e => [e.innerText || e.ariaLabel, (e.closest('[data-testid$=RootElement]') || e)"
        ".getBoundingClientRect().height])"
    )
    assert [each for each in sizes if each[1] < FINGER - 1] == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    form.get_by_role("button", name="Done with this step").tap()
    settled(page)
    page.locator('[class*="st-key-step-line-"]').nth(1).wait_for()
    page.get_by_role("button", name="Up").last.tap()
    settled(page)
    first, second = kept(tmp_path, draft)
    assert (first.zone, first.what) == ("ends", "toner")
    assert first.developer is not None
    assert first.developer.volume == 20
    assert second == STEP
    phone.assert_clean()


def test_by_keyboard_alone(address: str, desktop: Watched, tmp_path: Path, draft: Draft) -> None:
    page = desktop.page
    page.goto(address)
    settled(page)
    reach(page, "Add a step")
    page.keyboard.press("Enter")
    settled(page)
    reach(page, "Root")
    page.keyboard.press("Space")
    settled(page)
    reach(page, "Lightener")
    page.keyboard.press("Space")
    settled(page)
    reach(page, "Product and shade")
    page.keyboard.type("violet 1")
    reach(page, "Done with this step")
    page.keyboard.press("Enter")
    settled(page)
    assert kept(tmp_path, draft) == (Step("root", "lightener", "violet 1"),)
    desktop.assert_clean()


def reach(page: Any, name: str) -> None:
    """Walk with the tab key until this has the focus."""
    here = "(document.activeElement?.ariaLabel || document.activeElement?.innerText || '').trim()"
    for _ in range(80):
        if page.evaluate(here) == name:
            return
        page.keyboard.press("Tab")
    pytest.fail(f"the keyboard does not reach {name}")
