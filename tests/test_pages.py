"""Every page opens, on an empty studio and on a filled one, and says what it must."""

from __future__ import annotations

import ast
import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from scenes import CARD, OUTLINE, PATH
from test_pages_harness import NASTY, Filled, assert_no_failure, drawn_photo, open_page, words

from tracker import workflow
from tracker.record.agreed import AgreedLimits
from tracker.record.records import PORTFOLIO, PURPOSES, new_id
from tracker.store import Store
from tracker.ui.parts.words import plain
from tracker.words import months_words

pytest_plugins = ("test_pages_harness",)

PAGES = (
    "today",
    "clients",
    "client",
    "new_visit",
    "compare",
    "results",
    "prices",
    "photo_guide",
    "card_guide",
    "portfolio",
    "studio",
)
FACE = Path(__file__).parents[1] / "tracker" / "ui"


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.usefixtures("store")
def test_every_page_opens_on_an_empty_studio(name: str) -> None:
    test = open_page(name)
    assert_no_failure(test)
    assert test.title


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.usefixtures("filled")
def test_every_page_opens_on_a_filled_studio(name: str) -> None:
    assert_no_failure(open_page(name))


def test_pages_of_one_client_and_one_visit_open(filled: Filled) -> None:
    for name, query in (
        ("client", {"client": filled.client.id}),
        ("client", {"client": filled.nobody.id}),
        ("new_visit", {"client": filled.client.id}),
        ("new_visit", {"client": filled.client.id, "kind": "progress"}),
        ("new_visit", {"draft": filled.draft_id}),
        ("compare", {"visit": filled.visit.id}),
        ("portfolio", {"visit": filled.visit.id}),
    ):
        assert_no_failure(open_page(name, **query))


@pytest.mark.parametrize(
    ("name", "key"), [("client", "client"), ("new_visit", "client"), ("new_visit", "draft"), ("compare", "visit")]
)
@pytest.mark.usefixtures("store")
def test_what_is_not_there_is_said_in_a_sentence(name: str, key: str) -> None:
    test = open_page(name, **{key: new_id()})
    assert_no_failure(test)
    assert "There is no such" in words(test)


@pytest.mark.usefixtures("store")
def test_addresses_that_are_no_identifiers_are_ignored() -> None:
    for text in ("1", "../../etc/passwd", "'; DROP TABLE client; --", "A" * 32):
        for name in ("client", "compare", "portfolio", "new_visit"):
            assert_no_failure(open_page(name, client=text, visit=text, draft=text))


@pytest.mark.usefixtures("store")
def test_an_empty_studio_teaches_with_two_buttons() -> None:
    test = open_page("today")
    assert [button.label for button in test.button] == ["Add a client", "Load the demo studio"]
    assert "grey card" in words(test)


def test_a_result_is_a_sentence_before_it_is_numbers(filled: Filled) -> None:
    test = open_page("compare", visit=filled.visit.id)
    assert " lighter, by " in test.subheader[0].value
    said = words(test)
    assert "Levels are provisional" in said
    assert plain("± at 95 %") in said
    assert "is our own choice" in said


def test_the_fade_chart_states_its_finding(filled: Filled) -> None:
    test = open_page("client", client=filled.client.id)
    assert test.get("vega_lite_chart") or test.get("arrow_vega_lite_chart")
    for region in ("root", "mid", "end"):
        test.segmented_control(key="fade-region").set_value(region).run()
        assert_no_failure(test)
    test.segmented_control(key="fade-quantity").set_value("Warmth").run()
    assert_no_failure(test)
    assert "95" in words(test)


def test_the_fade_chart_marks_the_visits_since(filled: Filled) -> None:
    for months, service in ((-1, "toner"), (2, "cut")):
        on = filled.visit.on + timedelta(days=30 * months)
        draft = workflow.start_draft(filled.store, filled.client.id, "visit")
        visit = replace(filled.visit, id=new_id(), on=on, services=(service,))
        workflow.record_visit(filled.store, replace(draft, visit=visit))
    test = open_page("client", client=filled.client.id)
    chart = test.get("vega_lite_chart")[0].proto
    [marks] = [
        layer["data"]["values"]
        for layer in json.loads(chart.spec)["layer"]
        if layer["mark"]["type"] == "text" and layer["mark"].get("text") == "service"
    ]
    # 60 days of months of 30.4375 days; the toner before this service is none of its marks
    assert [mark["along"] for mark in marks] == [pytest.approx(60 / 30.4375)]
    assert "Services at 2.0 months." in chart.alt


def test_the_portfolio_never_names_a_client(filled: Filled) -> None:
    for query in ({}, {"visit": filled.visit.id}):
        said = words(open_page("portfolio", **query))
        assert "lighter, by " in said
        assert filled.client.name not in said
        assert plain(filled.visit.note) not in said


def test_past_results_warn_only_where_somebody_did_not_agree_to_be_shown(filled: Filled) -> None:
    assert "For your eyes only" not in words(open_page("results"))
    workflow.answer_consent(filled.store, filled.client.id, PORTFOLIO, given=False, by="me")
    assert "For your eyes only" in words(open_page("results"))


def test_the_bars_of_the_wear_chart_are_told_from_the_doubt_of_one_photo(filled: Filled) -> None:
    workflow.agree_limits(filled.store, filled.visit.id, AgreedLimits(warmer=4.5), None, by="me")
    test = open_page("client", client=filled.client.id)
    test.segmented_control(key="fade-quantity").set_value("Warmth").run()
    said = words(test)
    assert "An error that all of them share is left out here" in said
    assert "Strip along the bottom" in said
    assert plain("Dashed: what was agreed, ends no more than 4.5 warmer than right after the service.") in said


def test_the_portfolio_filters_by_service(filled: Filled) -> None:
    test = open_page("portfolio")
    test.pills(key="portfolio-service").set_value("toner").run()
    assert_no_failure(test)
    assert "lighter, by " in words(test)


def test_withdrawing_takes_one_click_and_empties_the_portfolio(filled: Filled) -> None:
    test = open_page("client", client=filled.client.id)
    test.button(key=f"agreement-{PORTFOLIO}").click().run()
    assert_no_failure(test)
    assert not filled.store.consents.given(filled.client.id, PORTFOLIO)
    assert "lighter, by " not in words(open_page("portfolio"))
    assert len(filled.store.consents.of_client(filled.client.id)) == 3
    test.button(key=f"agreement-{PORTFOLIO}").click().run()
    assert filled.store.consents.given(filled.client.id, PORTFOLIO)


def test_without_agreement_no_visit_begins(filled: Filled) -> None:
    workflow.answer_consent(filled.store, filled.nobody.id, "measuring", given=False, by="me")
    assert not [button for button in open_page("client", client=filled.nobody.id).button if button.key == "new-visit"]
    test = open_page("new_visit", client=filled.nobody.id)
    assert not test.file_uploader
    assert "has not agreed" in words(test)


def test_what_people_type_is_shown_sign_for_sign(filled: Filled) -> None:
    test = open_page("client", client=filled.nobody.id)
    assert test.title[0].value == plain(NASTY[1])
    assert plain(NASTY[3]) in words(test)
    visit = open_page("compare", visit=filled.visit.id)
    assert plain(NASTY[1]) in words(visit)
    for shown in (test, visit):
        assert not any(NASTY[1] in block.value for block in shown.html)


def test_name_and_note_can_be_changed(filled: Filled) -> None:
    test = open_page("client", client=filled.client.id)
    test.text_input(key=f"edit-name-{filled.client.id}").set_value("Ada M.")
    test.button(key="edit-save").click().run()
    assert_no_failure(test)
    assert filled.store.clients.get(filled.client.id).name == "Ada M."
    assert test.title[0].value == plain("Ada M.")


def test_a_note_saved_in_another_window_is_shown_before_it_is_replaced(filled: Filled) -> None:
    test = open_page("client", client=filled.client.id)
    workflow.edit_client(filled.store, filled.client, "Ada", "allergic to nuts")
    test.text_input(key=f"edit-name-{filled.client.id}").set_value("Ada M.")
    test.button(key="edit-save").click().run()
    assert "allergic to nuts" in words(test)
    assert filled.store.clients.get(filled.client.id).name == "Ada"
    test.button(key="edit-save").click().run()
    assert_no_failure(test)
    assert filled.store.clients.get(filled.client.id).name == "Ada M."


def test_erasing_needs_the_name_and_gives_a_receipt(filled: Filled) -> None:
    test = open_page("client", client=filled.client.id)
    assert "1 visit" in words(test)
    test.text_input(key="erase-name").set_value("Adda")
    test.button(key="erase").click().run()
    assert "Nothing was erased" in words(test)
    test.text_input(key="erase-name").set_value("Ada")
    test.button(key="erase").click().run()
    assert_no_failure(test)
    assert "Erased on" in words(test)
    assert [summary.client.id for summary in filled.store.clients.summaries()] == [filled.nobody.id]


def test_a_backup_says_where_it_is(filled: Filled) -> None:
    test = open_page("studio")
    test.button(key="backup").click().run()
    assert_no_failure(test)
    path = Path(test.code[-1].value)
    assert path.is_dir()
    assert not path.is_relative_to(filled.store.root)


def test_a_visit_is_deleted_only_when_one_is_sure(filled: Filled) -> None:
    test = open_page("compare", visit=filled.visit.id)
    assert test.button(key=f"delete-{filled.visit.id}").disabled
    test.checkbox(key=f"sure-{filled.visit.id}").check().run()
    test.button(key=f"delete-{filled.visit.id}").click().run()
    assert_no_failure(test)
    assert filled.store.visits.of_client(filled.client.id) == []


@pytest.mark.parametrize("folder", ["pages", "parts"])
def test_the_face_keeps_no_one_else_in_memory_and_trusts_no_typed_markup(folder: str) -> None:
    for file in (FACE / folder).rglob("*.py"):
        called = {node.attr for node in ast.walk(ast.parse(file.read_text("utf-8"))) if isinstance(node, ast.Attribute)}
        assert not called & {"cache_data", "cache_resource"}, file
        assert "unsafe_allow_html" not in file.read_text("utf-8"), file


@pytest.fixture
def sample_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small demo: one invented client with a before and an after."""
    folder = tmp_path / "samples"
    folder.mkdir()
    photos = []
    for role, tip in (("before", 40.0), ("after", 62.0)):
        (folder / f"{role}.jpg").write_bytes(drawn_photo(tip))
        card = {"kind": "grey18", "corners": CARD}
        entry = {"file": f"{role}.jpg", "client": "Noor", "role": role, "light": "D65", "card": card, "path": PATH}
        photos.append({**entry, "outline": OUTLINE})
    (folder / "photos.json").write_text(json.dumps({"photos": photos}), "utf-8")
    monkeypatch.setattr("tracker.workflow.demo.sample_folder", lambda: folder)
    return folder


@pytest.mark.usefixtures("sample_folder")
def test_what_belongs_to_the_demo_is_marked_wherever_it_is_shown(store: Store) -> None:
    workflow.load_demo(store)
    [client_id] = store.clients.demo_ids()
    [visit] = store.visits.of_client(client_id)
    for name, query in (
        ("today", {}),
        ("clients", {}),
        ("client", {"client": client_id}),
        ("compare", {}),
        ("compare", {"visit": visit.id}),
        ("results", {}),
        ("portfolio", {}),
        ("portfolio", {"visit": visit.id}),
    ):
        test = open_page(name, **query)
        labels = [str(link.proto.label) for link in test.get("page_link")]
        assert "made up" in "\n".join([words(test), *labels]).lower(), name


def test_a_client_of_ones_own_is_not_marked_as_made_up(filled: Filled) -> None:
    for name, query in (
        ("today", {}),
        ("compare", {"visit": filled.visit.id}),
        ("results", {}),
        ("portfolio", {}),
        ("portfolio", {"visit": filled.visit.id}),
    ):
        assert "made up" not in words(open_page(name, **query)).lower(), name


@pytest.mark.usefixtures("sample_folder")
def test_the_demo_is_loaded_and_removed_with_one_click_each(store: Store) -> None:
    test = open_page("today")
    test.button(key="load-demo").click().run()
    assert_no_failure(test)
    assert "The demo studio is loaded" in words(test)
    assert "lighter, by " in words(test)
    studio = open_page("studio")
    assert not [button for button in studio.button if button.key == "load-demo"]
    studio.button(key="remove-demo").click().run()
    assert_no_failure(studio)
    assert store.is_empty()


def test_a_missing_demo_is_a_sentence(store: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("tracker.workflow.demo.sample_folder", lambda: tmp_path)
    test = open_page("today")
    test.button(key="load-demo").click().run()
    assert_no_failure(test)
    assert any('role="alert"' in block.value for block in test.html)
    assert store.is_empty()


@pytest.mark.usefixtures("store")
def test_adding_a_client_needs_a_name_and_the_agreement(store: Store) -> None:
    test = open_page("clients", add="1")
    test.text_input(key="new-name").set_value("Bea")
    test.text_input(key="new-by").set_value("me")
    test.button(key="new-save").click().run()
    assert_no_failure(test)
    assert "has not agreed" in words(test)
    assert store.is_empty()
    test.checkbox(key="new-measuring").check()
    test.text_input(key="new-name").set_value("  ")
    test.button(key="new-save").click().run()
    assert "has no name" in words(test)
    assert store.is_empty()
    test.text_input(key="new-name").set_value(NASTY[0])
    test.button(key="new-save").click().run()
    assert_no_failure(test)
    [summary] = store.clients.summaries()
    assert summary.client.name == NASTY[0]
    assert [purpose for purpose in PURPOSES if store.consents.given(summary.client.id, purpose)] == ["measuring"]
    assert test.session_state["page-shown"] == "client"


def test_searching_finds_a_client_and_says_when_there_is_none(filled: Filled) -> None:
    test = open_page("clients")
    test.text_input(key="find-client").set_value("ad").run()
    assert "1 client" in words(test)
    test.text_input(key="find-client").set_value("zzz").run()
    assert_no_failure(test)
    assert "Nothing found in any client’s name" in words(test)
    assert filled.client.name


@pytest.mark.parametrize(
    ("months", "said"), [(0.0, ""), (0.01, ""), (0.033, "1 day"), (0.6, "18 days"), (1.6, "1.6 months")]
)
def test_a_span_is_said_in_days_below_a_month(months: float, said: str) -> None:
    assert months_words(months) == said


def test_a_number_is_never_parted_from_its_uncertainty() -> None:
    assert "±\N{NO-BREAK SPACE}1" in plain("2.0 levels lighter (± 1.2)")
