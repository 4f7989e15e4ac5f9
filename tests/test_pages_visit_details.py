"""The step editor, the price list, past results, searching and what changed, without a browser."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest
from test_pages_harness import NASTY, Filled, assert_no_failure, open_page, save_visit, words

from tracker import workflow
from tracker.calibrate.calibration import SPREAD, Yardstick
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.compare.past_results import AT_LEAST, AT_MOST, Middle
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import format_measured_share, format_share
from tracker.measure.repeatability import PROVISIONAL, Repeatability
from tracker.record.agreed import AgreedLimits
from tracker.record.mixing import Amount, Charge, Strength
from tracker.record.records import MEASURING, Client, Draft, Step, new_id, now
from tracker.store import Store
from tracker.ui import catching_up
from tracker.ui.parts.limit_words import agreed_sentences
from tracker.ui.parts.reading_view import no_number
from tracker.ui.parts.results_view import lift_text, spread_sentence
from tracker.ui.parts.words import plain
from tracker.ui.parts.yardstick_words import smallest_words

pytest_plugins = ("test_pages_harness",)


@pytest.fixture
def client(store: Store) -> Client:
    """Somebody who agreed to be measured."""
    return workflow.add_client(store, "Cleo", "", {MEASURING: True}, "me")


def at_save(store: Store, client: Client) -> tuple[AppTest, Draft, str]:
    """The last step of a new visit without photos, its draft, and the key of the steps."""
    draft = workflow.start_draft(store, client.id, "visit")
    draft = workflow.keep_draft(store, replace(draft, step=3))
    return open_page("new_visit", draft=draft.id), draft, f"steps-{draft.id}"


def steps_of(store: Store, draft: Draft) -> tuple[Step, ...]:
    """The steps as the draft keeps them now."""
    visit = store.drafts.get(draft.id).visit
    assert visit is not None
    return visit.steps


def test_a_whole_step(store: Store, client: Client) -> None:
    line = workflow.keep_price(store, "Powder", 500, "g", 25, "EUR")
    developer = workflow.keep_price(store, "Developer", 1000, "ml", 8, "EUR")
    test, draft, key = at_save(store, client)
    test.button(key=f"{key}-add").click().run()
    form = f"{key}-0-1"
    test.pills(key=f"{form}-zone").set_value("ends").run()
    test.pills(key=f"{form}-what").set_value("lightener").run()
    test.text_input(key=f"{form}-product").set_value(NASTY[1]).run()
    test.pills(key=f"{form}-developer").set_value("20 vol (6 %)").run()
    test.pills(key=f"{form}-ratio").set_value("1:1.5").run()
    test.number_input(key=f"{form}-amount").set_value(30.0).run()
    assert "75 g in the bowl" in words(test)
    test.number_input(key=f"{form}-minutes").set_value(35.0).run()
    test.pills(key=f"{form}-placement").set_value(["slices", "foils"]).run()
    test.text_input(key=f"{form}-weave").set_value("fine").run()
    test.text_input(key=f"{form}-sections").set_value("zigzag").run()
    test.multiselect(key=f"{form}-charged").set_value([line.id, developer.id]).run()
    test.number_input(key=f"{form}-waste").set_value(10.0).run()
    assert_no_failure(test)
    # by hand: 30 g of 500 g for 25 is 1.50, 45 ml of 1000 ml for 8 is 0.36; a tenth of it was left over
    assert "1\\.86 EUR, of which 0\\.19 thrown away" in words(test)
    expected = Step(
        "ends",
        "lightener",
        NASTY[1],
        35.0,
        developer=Strength(20),
        ratio="1:1.5",
        amount=Amount(30.0),
        placement=("slices", "foils"),
        weave="fine",
        sections="zigzag",
        charges=(line.charge(30.0), developer.charge(45.0)),
        waste=10.0,
    )
    assert steps_of(store, draft) == (expected,)
    save_visit(test)
    assert_no_failure(test)
    [visit] = store.visits.of_client(client.id)
    assert visit.steps == (expected,)
    assert "What was done" in words(test)
    assert NASTY[1] not in words(test)  # only with its signs made plain


def test_own_words_other_strengths_and_ounces(store: Store, client: Client) -> None:
    test, draft, key = at_save(store, client)
    test.button(key=f"{key}-add").click().run()
    form = f"{key}-0-1"
    test.pills(key=f"{form}-zone").set_value("other").run()
    test.text_input(key=f"{form}-zone-own").set_value("nape").run()
    test.pills(key=f"{form}-developer").set_value("other").run()
    test.segmented_control(key=f"{form}-strength-unit").set_value("%").run()
    test.number_input(key=f"{form}-strength").set_value(1.5).run()
    assert "5 vol" in words(test)
    test.pills(key=f"{form}-ratio").set_value("other").run()
    test.text_input(key=f"{form}-ratio-own").set_value("a good bit").run()
    assert "kept as you typed it" in words(test)
    test.segmented_control(key=f"{form}-amount-unit").set_value("oz").run()
    test.number_input(key=f"{form}-amount").set_value(1.5).run()
    assert_no_failure(test)
    [step] = steps_of(store, draft)
    assert (step.zone, step.developer, step.ratio) == ("nape", Strength(1.5, "%"), "a good bit")
    assert step.amount == Amount(1.5 * 28.349523125, "oz")  # NIST Handbook 44, appendix C
    test.button(key=f"{key}-0-done").click().run()
    test.button(key=f"{key}-0-open").click().run()
    assert steps_of(store, draft) == (step,)
    assert test.text_input(key=f"{key}-0-2-ratio-own").value == "a good bit"


def test_a_quantity_follows_the_weight_until_it_is_typed(store: Store, client: Client) -> None:
    line = workflow.keep_price(store, "Powder", 500, "g", 25, "EUR")
    test, draft, key = at_save(store, client)
    test.button(key=f"{key}-add").click().run()
    form = f"{key}-0-1"
    test.multiselect(key=f"{form}-charged").set_value([line.id]).run()
    assert steps_of(store, draft)[0].charges[0].quantity == 0
    for weight in (30.0, 40.0):
        test.number_input(key=f"{form}-amount").set_value(weight).run()
        assert steps_of(store, draft)[0].charges[0].quantity == weight
    test.number_input(key=f"{form}-quantity-{line.id}").set_value(25.0).run()
    test.number_input(key=f"{form}-amount").set_value(50.0).run()
    assert_no_failure(test)
    assert steps_of(store, draft)[0].charges[0].quantity == 25
    test.button(key=f"{key}-0-done").click().run()
    test.button(key=f"{key}-0-open").click().run()
    assert steps_of(store, draft)[0].charges[0].quantity == 25


def test_order_removing_and_an_empty_step(store: Store, client: Client) -> None:
    test, draft, key = at_save(store, client)
    for number, word in enumerate(("one", "two", "three")):
        test.button(key=f"{key}-add").click().run()
        test.text_input(key=f"{key}-{number}-1-product").set_value(word).run()
    test.button(key=f"{key}-2-done").click().run()
    assert [step.product for step in steps_of(store, draft)] == ["one", "two", "three"]
    test.button(key=f"{key}-2-up").click().run()
    test.button(key=f"{key}-0-down").click().run()
    test.button(key=f"{key}-0-down").click().run()
    assert [step.product for step in steps_of(store, draft)] == ["three", "two", "one"]
    assert test.button(key=f"{key}-0-down").disabled
    assert test.button(key=f"{key}-2-up").disabled
    test.button(key=f"{key}-1-remove").click().run()
    test.button(key=f"{key}-add").click().run()
    assert_no_failure(test)
    assert [step.product for step in steps_of(store, draft)] == ["three", "one"]
    save_visit(test)
    [visit] = store.visits.of_client(client.id)
    assert [step.product for step in visit.steps] == ["three", "one"]


def test_leaving_and_coming_back_keeps_every_step(store: Store, client: Client) -> None:
    test, draft, key = at_save(store, client)
    test.button(key=f"{key}-add").click().run()
    test.text_input(key=f"{key}-0-1-product").set_value("violet").run()
    again = open_page("new_visit", draft=draft.id)
    assert_no_failure(again)
    assert "violet" in words(again)
    assert [step.product for step in steps_of(store, draft)] == ["violet"]


def test_the_last_visits_steps_as_a_start(filled: Filled) -> None:
    step = Step("ends", "toner", "violet", developer=Strength(5), charges=(Charge("gone", "x", 1, "g", 1, "", 1),))
    filled.store.visits.save(replace(filled.visit, steps=(step,)), filled.store.photos.find(visit_id=filled.visit.id))
    test, draft, key = at_save(filled.store, filled.client)
    test.button(key=f"{key}-copy").click().run()
    assert_no_failure(test)
    assert steps_of(filled.store, draft) == (replace(step, charges=()),)
    assert not any(button.key == f"{key}-copy" for button in test.button)


def test_what_the_client_says_is_kept_and_shown(store: Store, client: Client) -> None:
    test, draft, _ = at_save(store, client)
    test.text_area(key=f"visit-history-{draft.id}").set_value(NASTY[3]).run()
    test.text_area(key=f"visit-start-{draft.id}").set_value("brassy").run()
    save_visit(test)
    assert_no_failure(test)
    [visit] = store.visits.of_client(client.id)
    assert (visit.history, visit.starting_point) == (NASTY[3], "brassy")
    assert "Starting point, in the client’s words" in words(test)


def test_the_price_list(store: Store) -> None:
    test = open_page("prices")
    test.text_input(key="price-name-new-0").set_value(NASTY[1])
    test.number_input(key="price-size-new-0").set_value(500.0)
    test.number_input(key="price-price-new-0").set_value(24.5)
    test.text_input(key="price-currency-new-0").set_value("EUR")
    test.button(key="price-save-new-0").click().run()
    assert_no_failure(test)
    [line] = store.prices.all()
    assert (line.name, line.pack_size, line.pack_unit, line.price, line.currency) == (NASTY[1], 500, "g", 24.5, "EUR")
    test.button(key=f"price-change-{line.id}").click().run()
    test.number_input(key=f"price-price-{line.id}").set_value(30.0)
    test.button(key=f"price-save-{line.id}").click().run()
    assert store.prices.all()[0].price == 30
    assert "24\\.50 EUR" in words(test)
    test.button(key=f"price-remove-{line.id}").click().run()
    assert_no_failure(test)
    assert store.prices.all() == []


def test_a_price_without_a_name_is_said(store: Store) -> None:
    test = open_page("prices")
    test.button(key="price-save-new-0").click().run()
    assert_no_failure(test)
    assert "no name" in words(test)
    assert store.prices.all() == []


def test_past_results_begin_empty(store: Store) -> None:
    test = open_page("results")
    assert_no_failure(test)
    assert "Nothing to look back on yet" in words(test)
    assert "allergy test 48 hours" in words(test)


def test_past_results_of_few(filled: Filled) -> None:
    test = open_page("results")
    assert_no_failure(test)
    said = words(test)
    assert "too few to say what is usual" in said
    assert "allergy test 48 hours" in said
    assert "Half of the cases" not in said
    assert filled.client.name not in said
    assert "levels lighter" in said
    test.slider(key="levels-all").set_value((9.5, 10.0)).run()
    assert_no_failure(test)
    assert "No visit like this yet" in words(test)
    like = open_page("results", visit=filled.visit.id)
    assert_no_failure(like)
    low, high = like.slider(key=f"levels-{filled.visit.id}").value
    assert high - low == pytest.approx(2)


def test_past_results_of_several(filled: Filled) -> None:
    photos = filled.store.photos.find(visit_id=filled.visit.id)
    for _ in range(5):
        visit = replace(filled.visit, id=new_id(), revision=1)
        copies = [replace(photo, id=new_id(), visit_id=visit.id) for photo in photos]
        filled.store.visits.save(visit, copies)
    test = open_page("results")
    assert_no_failure(test)
    assert "Of 6 visits, the one in the middle became" in words(test)
    assert "97\N{NO-BREAK SPACE}%" in words(test)  # 1 - 2 * 0.5 ** 6, binomial


def test_past_results_wait_for_those_by_the_spread_in_force(filled: Filled, monkeypatch: pytest.MonkeyPatch) -> None:
    own = Repeatability("check", (0.9, 0.9, 0.9), 18.0, False, "Own.")
    filled.store.yardsticks.add(Yardstick(new_id(), SPREAD, now(), spread=own))
    with monkeypatch.context() as patched:
        patched.setattr(catching_up, "A_PAGE_WAITS", 0.0)
        patched.setattr(catching_up, "catch_up_now", lambda: None)
        waiting = open_page("results")
    assert_no_failure(waiting)
    assert plain("Still being worked out: 1 visit.") in words(waiting)
    assert "levels lighter" not in words(waiting)
    waiting.run()
    assert "Still being worked out" not in words(waiting)
    assert "levels lighter" in words(waiting)


def test_words_of_visits_are_found_on_the_clients_page(filled: Filled) -> None:
    test = open_page("clients")
    test.text_input(key="find-client").set_value("toner").run()
    assert_no_failure(test)
    assert "In visits" in words(test)
    assert "Service: toner" in words(test)
    assert "Nothing found in any client’s name" not in words(test)
    test.text_input(key="find-client").set_value("xyzzy").run()
    assert "Nothing found in any client’s name" in words(test)


def test_what_changed_can_be_read(filled: Filled) -> None:
    changed = replace(filled.visit, note="a calmer note", steps=())
    filled.store.visits.save(changed, filled.store.photos.find(visit_id=filled.visit.id), by="Bo")
    workflow.edit_client(filled.store, filled.client, "Ada B", "", by="Cy")
    visit = words(open_page("compare", visit=filled.visit.id))
    assert "Bo: visit of" in visit
    assert "became “a calmer note”" in visit
    client = words(open_page("client", client=filled.client.id))
    assert "Cy: name or notes changed" in client
    assert "Name was “Ada”; became “Ada B”" in client


def test_a_strength_that_cannot_be_is_said_and_nothing_is_lost(store: Store, client: Client) -> None:
    test, draft, key = at_save(store, client)
    test.button(key=f"{key}-add").click().run()
    form = f"{key}-0-1"
    test.pills(key=f"{form}-developer").set_value("other").run()
    test.segmented_control(key=f"{form}-strength-unit").set_value("%").run()
    test.number_input(key=f"{form}-strength").set_value(40.0).run()
    save_visit(test)
    assert_no_failure(test)
    assert "stronger than any for hair" in words(test)
    assert store.visits.of_client(client.id) == []
    assert steps_of(store, draft)[0].developer == Strength(40, "%")


@pytest.mark.parametrize(
    ("middle", "said"),
    [
        (Middle(2.04, "", 1, 3, 0.97, 1, 3, True), "2.0 levels lighter"),
        (Middle(-1.0, "", -2, 0, 0.97, -2, 0, True), "1.0 level darker"),
        (Middle(1.5, AT_LEAST, 1, 2, 0.97, 1, 2, True), "at least 1.5 levels lighter"),
        (Middle(-1.5, AT_MOST, -2, -1, 0.97, -2, -1, True), "at least 1.5 levels darker"),
        (Middle(-1.5, AT_LEAST, -2, -1, 0.97, -2, -1, True), "at most 1.5 levels darker"),
        (Middle(0.04, "", -1, 1, 0.97, -1, 1, True), "no lighter and no darker"),
    ],
)
def test_a_middle_in_words(middle: Middle, said: str) -> None:
    assert lift_text(middle) == said


def test_a_spread_in_words() -> None:
    few = spread_sentence(Middle(2, "", 1, 3, 0.75, 1, 3, False), "levels")
    # three cases hold their median with 1 - 2 * 0.5 ** 3 = 75 %, binomial
    assert few.startswith("All cases lay between +1.0 and +3.0 levels.")
    assert "75 %" in few
    many = spread_sentence(Middle(2, "", 1.5, 2.5, 0.96, 1, 3, True), "")
    assert many.startswith("Half of the cases lay between +1.0 and +3.0. The middle")
    assert "+1.5 to +2.5 (96 % sure)" in many


def test_what_is_agreed_and_how_often_it_is_washed_are_two_sentences() -> None:
    agreed = AgreedLimits(warmer=4.0, root_mm=20.0)
    limits = "Ends no more than 4 warmer and root no longer than 20 mm."
    assert agreed_sentences(agreed, 3.0) == f"{limits} Washed 3 times a week."
    assert agreed_sentences(agreed, None) == limits
    assert agreed_sentences(AgreedLimits(), None) == ""


@pytest.mark.parametrize(
    ("why", "said"),
    [
        ("No grey card was found.", "No number: no grey card was found."),
        ("A hand covers the card.", "No number: a hand covers the card."),
        ("L* is off.", "No number: L* is off."),
    ],
)
def test_why_there_is_no_number_goes_on_after_the_colon(filled: Filled, why: str, said: str) -> None:
    photo = filled.store.photos.find(visit_id=filled.visit.id)[0]
    assert no_number(replace(photo, reading=None, failure=why)) == said


def test_the_smallest_change_is_said_in_levels_alone() -> None:
    said = smallest_words(PROVISIONAL, DEFAULT_SCALE)
    assert "L*" not in said
    assert re.search(r"a change of \d\.\d level at level 6 stands out with one photo before and one after", said)


def test_every_share_is_written_alike() -> None:
    assert plain("41 % of it, ± 3") == "41\N{NO-BREAK SPACE}% of it, ±\N{NO-BREAK SPACE}3"
    assert format_share(0.414) == "41 %"
    assert format_share(-0.001) == "0 %"
    assert format_measured_share(Measured(0.65, 0.1786)) == "65 % (± 35)"
