"""The words of the trade stand in one module, and small numbers and dates follow English grammar."""

from __future__ import annotations

import ast
from datetime import date
from pathlib import Path

import pytest

from tracker.words import (
    ago,
    count,
    disk_size,
    listed,
    months_words,
    noun,
    number_word,
    region_is,
    roughly,
    sentence_case,
    weeks_words,
)

TRACKER = Path(__file__).parents[1] / "tracker"

# zones of a step, as they are kept in the record and told apart from the bands that are measured
ZONES = {"records.py", "demo.py"}


def test_no_other_module_has_words_of_its_own_for_a_band() -> None:
    found = {
        path.name
        for path in TRACKER.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant) and node.value in ("mid-lengths", "Mid-lengths", "the mid-lengths")
    }
    assert found == {"words.py", *ZONES}


@pytest.mark.parametrize(("number", "said"), [(0, "0 photos"), (1, "1 photo"), (2, "2 photos"), (1200, "1,200 photos")])
def test_a_noun_follows_its_number(number: int, said: str) -> None:
    assert count(number, "photo") == said


def test_a_noun_of_its_own_form() -> None:
    assert [noun(number, "child", "children") for number in (0, 1, 2)] == ["children", "child", "children"]
    assert noun(0.5, "time") == "times"


def test_a_band_has_the_verb_that_goes_with_it() -> None:
    assert [region_is(code) for code in ("root", "mid", "end")] == ["root is", "mid-lengths are", "ends are"]


def test_small_counts_are_words() -> None:
    assert [number_word(number) for number in (0, 1, 9, 10)] == ["no", "one", "nine", "10"]


@pytest.mark.parametrize(
    ("words", "said"), [([], "nothing"), (["a"], "a"), (["a", "", "b"], "a and b"), (["a", "b", "c"], "a, b and c")]
)
def test_words_in_a_row(words: list[str], said: str) -> None:
    assert listed(words, "nothing") == said


def test_only_the_first_letter_becomes_large() -> None:
    assert sentence_case("noor’s A1 strip") == "Noor’s A1 strip"


@pytest.mark.parametrize(
    ("when", "said"),
    [
        (date(2026, 3, 11), "on 11 March 2026"),
        (date(2026, 3, 10), "today"),
        (date(2026, 3, 9), "yesterday"),
        (date(2026, 2, 25), "13 days ago"),
        (date(2026, 2, 24), "2 weeks ago"),
        (date(2025, 12, 10), "3 months ago"),
        (date(2023, 3, 10), "3 years ago"),
    ],
)
def test_how_long_ago(when: date, said: str) -> None:
    assert ago(when, today=date(2026, 3, 10)) == said


def test_spans_of_months() -> None:
    assert [months_words(months) for months in (0.0, 1 / 30.4375, 0.5, 6.0)] == ["", "1 day", "15 days", "6.0 months"]


def test_sizes_on_a_disk() -> None:
    assert [disk_size(size) for size in (999, 1500, 2_500_000, 3_000_000_000)] == [
        "999 bytes",
        "1.5 kB",
        "2.5 MB",
        "3.0 GB",
    ]


@pytest.mark.parametrize(
    ("number", "said"), [(0, 0), (7, 7), (99, 99), (100, 100), (119, 110), (1278, 1200), (98765, 98000)]
)
def test_a_rough_number_has_two_digits_and_never_promises_more(number: int, said: int) -> None:
    assert roughly(number) == said


@pytest.mark.parametrize(
    ("days", "said"), [(1, "1 day"), (9, "9 days"), (10, "1 week"), (11, "2 weeks"), (24, "3 weeks"), (25, "4 weeks")]
)
def test_a_span_is_told_in_days_and_then_in_weeks(days: int, said: str) -> None:
    assert weeks_words(days) == said
