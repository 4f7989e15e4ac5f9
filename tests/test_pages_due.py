"""Who is due and how services wear, without a browser: empty, with limits agreed, erased."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from test_calendar import parsed, unescaped
from test_pages_harness import Filled, assert_no_failure, filled, open_page, store, words

from tracker import workflow
from tracker.calibrate.calibration import LOCUS, Yardstick
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.calibrate.warmth import NeutralLocus
from tracker.errors import InvalidEntry
from tracker.fade.posterior import DEFAULT_PRIORS
from tracker.measure.reading import WHOLE
from tracker.record.agreed import AgreedLimits
from tracker.record.records import MEASURING, new_id, now, to_json
from tracker.store import ClientRecord, Store
from tracker.ui.parts.due_words import calendar_description, due_line, due_sentence, each_reason
from tracker.wear import Due, Reason, kind_of
from tracker.workflow.calendar import due_calendar
from tracker.workflow.learning import Learning, LearntPriors, stamp_now, switch_learning
from tracker.workflow.wearing import catch_up, client_wear

__all__ = ["filled", "store"]


def agree(filled: Filled, **limits: float) -> None:
    workflow.agree_limits(filled.store, filled.visit.id, AgreedLimits(**limits), 3.0, by="me")
    assert catch_up(filled.store) == 0


def test_the_middle_day_is_not_called_the_likeliest() -> None:
    # half of the cases lie before the middle day; on a slanted window that is not the day with the most of them
    reason = Reason("warmth", date(2026, 7, 1), date(2026, 7, 31), date(2026, 12, 1), "given", None, 1.0)
    due = Due("c", state="given", early=reason.early, middle=reason.middle, late=reason.late, reasons=(reason,))
    for today, said in ((date(2026, 6, 1), "Come back between"), (date(2026, 8, 9), "Due now")):
        sentence = due_sentence(due, today)
        assert sentence.startswith(said)
        assert "as likely before as after 31 July 2026" in sentence
    assert each_reason(due) == [
        "Warmth at the ends: between 1 July and 1 December 2026, as likely before as after 31 July 2026."
    ]


def test_what_is_due_now_is_not_said_as_if_there_were_still_time() -> None:
    reason = Reason("warmth", date(2026, 7, 1), date(2026, 7, 31), date(2026, 12, 1), "given", None, 1.0)
    due = Due("c", state="given", early=reason.early, middle=reason.middle, late=reason.late, reasons=(reason,))
    span = "between 1 July and 1 December 2026"
    said = {
        date(2026, 7, 10): (
            "Due now: warmth at the ends may pass what was agreed, as likely before as after 31 July 2026; "
            f"in 80 of 100 cases {span}.",
            f"due now, {span} · warmth at the ends",
        ),
        date(2026, 11, 25): (
            "Due now: warmth at the ends has most likely passed what was agreed, as likely before as after "
            f"31 July 2026; in 80 of 100 cases {span}.",
            f"due now, most likely passed {span} · warmth at the ends",
        ),
        date(2026, 12, 5): (
            f"Overdue: warmth at the ends has very likely passed what was agreed, in 80 of 100 cases {span}.",
            f"overdue, {span} · warmth at the ends",
        ),
    }
    for today, (sentence, line) in said.items():
        assert due_sentence(due, today) == sentence
        assert due_line(due, today) == line


def test_an_empty_studio_is_told_how_it_begins(store: Store) -> None:
    test = open_page("due")
    assert_no_failure(test)
    assert "Agree with a client" in words(test)
    assert [button.label for button in test.button] == ["Add a client"]
    wear = open_page("services_wear")
    assert_no_failure(wear)
    assert "It begins with one photo right after a service" in words(wear)


def test_without_an_agreed_limit_there_is_no_date(filled: Filled) -> None:
    catch_up(filled.store)
    test = open_page("due")
    assert_no_failure(test)
    assert "Nothing has been agreed with" in words(test)
    due, _ = client_wear(filled.store, filled.client.id)
    assert due.middle is None


def test_a_level_that_is_far_away_gives_no_date_and_a_reason(filled: Filled) -> None:
    # the ends wore from level 9 or so by half a level in two months: level 4 is out of sight
    agree(filled, darkest=4.0)
    due, _ = client_wear(filled.store, filled.client.id)
    assert due.middle is None
    assert due.why_not


def test_a_level_that_was_passed_is_said_to_be(filled: Filled) -> None:
    agree(filled, darkest=10.0)
    due, _ = client_wear(filled.store, filled.client.id)
    assert due.state == "passed"


def test_who_is_due_lists_the_client_with_reason_and_calendar(store: Store) -> None:
    workflow.load_demo(store)
    catch_up(store)
    dues = store.wear.dues(stamp_now(store))
    assert [store.clients.get(due.client_id).name for due in dues] == ["Noor"]
    [due] = dues
    assert due.early is not None
    assert due.middle is not None
    assert due.late is not None
    # along the line whose true colours are known, the ends gain 2.3 by month 0.7 and 4.2 by month 1.6
    # (sample_images/truth.json), so 3.5 about the 39th day
    assert due.visit_id is not None
    on = store.visits.get(due.visit_id).on
    assert due.early - on <= timedelta(39) <= due.late - on
    assert due.late - due.early <= timedelta(200)
    test = open_page("due")
    assert_no_failure(test)
    assert "Nothing is sent to anybody" in words(test)
    assert "warmth at the ends" in words(test)
    assert "Noor · made up" in [str(link.proto.label) for link in test.get("page_link")]
    workflow.note_contact(store, due.client_id, "text, mornings; 555", by="me")
    content = due_calendar(store, dues, calendar_description, with_names=True, with_notes=False)
    [event] = parsed(content)
    assert unescaped(event["SUMMARY"]) == "Refresh due: Noor"
    assert event["DTSTART;VALUE=DATE"] == f"{due.middle:%Y%m%d}"
    assert b"mornings" not in content
    again = due_calendar(store, dues, calendar_description, with_names=False, with_notes=True)
    assert parsed(again)[0]["UID"] == event["UID"]
    assert b"Noor" not in again
    assert "text, mornings; 555" in unescaped(parsed(again)[0]["DESCRIPTION"])


def test_the_clients_page_says_when_to_come_back_and_keeps_what_is_agreed(filled: Filled) -> None:
    agree(filled, darkest=7.0)
    test = open_page("client", client=filled.client.id)
    assert_no_failure(test)
    assert "How the colour wears" in words(test)
    assert filled.store.visits.get(filled.visit.id).limits.darkest == 7.0


@pytest.mark.parametrize(
    "limits", [{"warmer": -1.0}, {"warmer": float("nan")}, {"darkest": 8.0, "lightest": 5.0}, {"root_mm": 4000.0}]
)
def test_a_limit_that_cannot_be_is_refused_with_a_sentence(filled: Filled, limits: dict[str, float]) -> None:
    with pytest.raises(InvalidEntry) as refused:
        workflow.agree_limits(filled.store, filled.visit.id, AgreedLimits(**limits), None, by="me")
    assert refused.value.advice
    assert filled.store.visits.get(filled.visit.id).limits == AgreedLimits()


def test_another_photo_works_the_date_out_anew(filled: Filled) -> None:
    agree(filled, darkest=7.0)
    stamp = stamp_now(filled.store)
    assert filled.store.wear.to_work_out(stamp, 10) == []
    photo = filled.store.photos.find(client_id=filled.client.id)[-1]
    filled.store.photos.save(replace(photo, light="salon lamps"))
    assert filled.store.wear.to_work_out(stamp, 10) == [filled.client.id]


def test_who_withdrew_or_was_erased_since_the_list_was_drawn_is_not_in_the_calendar(filled: Filled) -> None:
    store, day = filled.store, date(2026, 5, 5)
    dues = [Due(each.id, "0" * 32, middle=day) for each in (filled.client, filled.nobody)]

    def names() -> list[str]:
        content = due_calendar(store, dues, calendar_description, with_names=True, with_notes=True)
        return [unescaped(event["SUMMARY"]) for event in parsed(content)]

    assert names() == [f"Refresh due: {filled.client.name}", f"Refresh due: {filled.nobody.name}"]
    workflow.answer_consent(store, filled.client.id, MEASURING, False, "me")
    assert names() == [f"Refresh due: {filled.nobody.name}"]
    store.erasures.erase(filled.nobody.id)
    assert names() == []


def test_what_changed_since_the_file_before_has_a_higher_sequence(filled: Filled) -> None:
    # RFC 5545, 3.8.7.4: the number rises with each revision that matters, above all one of the day, and never falls
    store = filled.store

    def saved(day: date) -> tuple[str, int, str]:
        dues = [Due(filled.client.id, filled.visit.id, middle=day)]
        [event] = parsed(due_calendar(store, dues, calendar_description))
        return event["UID"], int(event["SEQUENCE"]), event["DTSTART;VALUE=DATE"]

    before, again = saved(date(2026, 5, 5)), saved(date(2026, 5, 5))
    assert before == again
    agree(filled, darkest=7.0)
    after = saved(date(2026, 5, 7))
    assert after[0] == before[0]
    assert after[1] > before[1]
    assert (before[2], after[2]) == ("20260505", "20260507")


@pytest.mark.parametrize("other", ["yardsticks", "learning"])
def test_what_was_in_force_only_meanwhile_is_kept_nowhere(
    filled: Filled, monkeypatch: pytest.MonkeyPatch, other: str
) -> None:
    store, client_id, record_of = filled.store, filled.client.id, filled.store.wear.record_of
    agree(filled, darkest=DEFAULT_SCALE.level(53.0))
    habits = replace(DEFAULT_PRIORS, slope_mean=-0.5, slope=0.1)
    learnt = LearntPriors(kind_of(filled.visit.services), "end", "L*", habits, 9, WHOLE)
    store.settings.put("learnt", to_json(Learning(True, found=(learnt,))))
    known, stamp = client_wear(store, client_id), stamp_now(store)
    catch_up(store, 60.0)
    assert known[0].middle is not None
    locus = NeutralLocus("own", ((20.0, 1.0, 1.0), (40.0, 5.0, 15.0)), 1.0, 1.0)
    version = Yardstick(new_id(), LOCUS, now(), locus=locus)

    def meanwhile(client_id: str) -> ClientRecord:
        if other == "yardsticks":
            store.yardsticks.add(version)
        else:
            switch_learning(store, on=False)
        return record_of(client_id)

    last = store.photos.find(client_id)[-1]
    for photo in (replace(last, camera="another"), last):
        store.photos.save(photo)
    assert store.wear.to_work_out(stamp, 9) == [client_id]
    with monkeypatch.context() as patched:
        patched.setattr(store.wear, "record_of", meanwhile)
        assert catch_up(store, 60.0) == 0
    if other == "yardsticks":
        store.yardsticks.stand(version.id, stands=False)
    switch_learning(store, on=True)
    assert stamp_now(store) == stamp
    assert store.wear.to_work_out(stamp, 9) == []
    assert client_wear(store, client_id) == known


@pytest.mark.parametrize(("washes", "said"), [(3.0, "3 a week"), (None, "Ask how often the hair is washed now")])
def test_what_washing_less_would_do_stands_under_the_date(filled: Filled, washes: float | None, said: str) -> None:
    limits = AgreedLimits(darkest=DEFAULT_SCALE.level(53.0))
    workflow.agree_limits(filled.store, filled.visit.id, limits, washes, by="me")
    test = open_page("client", client=filled.client.id)
    assert_no_failure(test)
    assert "What if it is washed less often?" in [expander.label for expander in test.expander]
    assert said in words(test)


def test_an_erased_or_withdrawn_client_is_not_due(filled: Filled) -> None:
    agree(filled, darkest=7.0, root_mm=10.0)
    stamp = stamp_now(filled.store)

    def named() -> set[str]:
        known = [*filled.store.wear.dues(stamp), *filled.store.wear.without_date(stamp), *filled.store.wear.services()]
        return {each.client_id for each in known}

    assert filled.client.id in {due.client_id for due in filled.store.wear.without_date(stamp)}
    assert filled.client.id in {each.client_id for each in filled.store.wear.services()}
    workflow.answer_consent(filled.store, filled.client.id, MEASURING, False, "me")
    assert filled.client.id not in named()
    assert filled.client.name not in words(open_page("due"))
    workflow.answer_consent(filled.store, filled.client.id, MEASURING, True, "me")
    catch_up(filled.store)
    assert filled.client.id in named()
    filled.store.erasures.erase(filled.client.id)
    assert filled.store.wear.due_of(filled.client.id, stamp) is None
    assert filled.client.id not in named()


def test_services_that_wore_are_laid_over_one_another(filled: Filled) -> None:
    catch_up(filled.store)
    test = open_page("services_wear")
    assert_no_failure(test)
    assert "allergy test" in words(test)


def test_the_month_filter_keeps_to_its_month(filled: Filled) -> None:
    agree(filled, darkest=7.0, root_mm=20.0)
    stamp = stamp_now(filled.store)
    everything = filled.store.wear.dues(stamp)
    far = date.today() + timedelta(days=4000)
    assert filled.store.wear.dues(stamp, (far, far)) == []
    assert sum(filled.store.wear.months_due(stamp).values()) == len(everything)
