"""Hair that was cut, on the pages: what was cut away is said, and bands compare at like distance from the root."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date
from html import unescape
from zipfile import ZipFile

import pytest
from scenes import CARD, PATH, marks
from test_pages_harness import assert_no_failure, at, drawn_photo, open_page, words

from tracker import workflow
from tracker.compare.past_results import outcomes_of
from tracker.record.records import AFTER, BEFORE, MEASURING, PORTFOLIO, Client, Visit, new_id, now
from tracker.store import Store
from tracker.workflow.export import export_client

pytest_plugins = ("test_pages_harness",)

SIZE = (100.0, 118.0)  # of the drawn card: some 159 pixels are 100 mm


def with_a_cut(store: Store, client: Client, services: tuple[str, ...], size: tuple[float, float] | None) -> Visit:
    """Before and after of the same drawn hair, whose last 320 pixels are gone after."""
    on = date(2026, 3, 2)
    draft = workflow.start_draft(store, client.id, "visit")
    photos = []
    for role, tip in ((BEFORE, PATH[-1]), (AFTER, (305.0, 620.0))):
        content = drawn_photo(62.0, seed=7 if role == BEFORE else 8)
        record, _ = workflow.take_in(store, content, client_id=client.id, role=role, light="daylight")
        marked = replace(marks(), corners=CARD, path=(*PATH[:2], tip), size_mm=size)
        photos.append(workflow.measure_record(store, replace(record, taken_at=at(on), time_noted=True), marked))
    visit = Visit(new_id(), client.id, on, services, (), "", "", now())
    return workflow.record_visit(store, replace(draft, visit=visit, photos=tuple(photos)))


@pytest.fixture
def client(store: Store) -> Client:
    return workflow.add_client(store, "Ada", "", {MEASURING: True, PORTFOLIO: True}, "me")


def test_what_was_cut_off_is_said(store: Store, client: Client) -> None:
    visit = with_a_cut(store, client, ("cut",), SIZE)
    test = open_page("compare", visit=visit.id)
    assert_no_failure(test)
    said = words(test)
    # by hand: 320 pixels, where 159 are 100 mm
    assert "About 20 cm" in said
    assert "the ends compare with what lay at the same distance from the root before" in said
    assert "We cut off about" in said
    assert "darker, by" not in said  # like share would call hair from higher up darker
    assert "About 20 cm" in words(open_page("portfolio", visit=visit.id))
    # without a cut, the ends would have got darker by more than 4 L*
    [ends] = outcomes_of(visit, list(store.photos.find(visit_id=visit.id)))[2:]
    assert abs(ends.after.lab[0] - ends.before.lab[0]) < 2


def test_a_client_takes_it_home(store: Store, client: Client) -> None:
    with_a_cut(store, client, ("cut",), SIZE)
    archive = ZipFile(io.BytesIO(export_client(store, client.id)[0]))
    [page] = [name for name in archive.namelist() if name.endswith("record.html")]
    assert "About 20 cm" in unescape(archive.read(page).decode())


def test_without_lengths_the_ends_are_other_hair(store: Store, client: Client) -> None:
    visit = with_a_cut(store, client, ("toner", "cut"), None)
    said = words(open_page("compare", visit=visit.id))
    assert "the ends of the two photos are not the same hair" in said
    assert "Note the card" in said
    other = words(open_page("portfolio", visit=visit.id))
    assert "are not the same hair" in other
    assert "Note the card" not in other


def test_shorter_hair_is_seen_without_a_note(store: Store, client: Client) -> None:
    visit = with_a_cut(store, client, ("toner",), SIZE)
    assert "shorter than before" in words(open_page("compare", visit=visit.id))


def test_nothing_is_said_where_nothing_is_known(store: Store, client: Client) -> None:
    visit = with_a_cut(store, client, ("toner",), None)
    said = words(open_page("compare", visit=visit.id))
    assert "shorter than before" not in said
    assert "not the same hair" not in said
