"""What the core finds can be said: every code has a sentence of its own, and every blank in it is filled."""

from __future__ import annotations

from typing import get_args

import pytest

from tracker.calibrate.level import Lift, Outside
from tracker.fade import WhyNot
from tracker.fade.rate import NoRate
from tracker.fade.window import NoDate, NoForecast
from tracker.measure.kit import KitMatch
from tracker.said.colour import say_kits, say_lift
from tracker.said.wear import say_limit, say_no_date, say_no_rate

NO_DATES = (*get_args(NoDate), *get_args(NoForecast))


def test_every_reason_for_no_rate_has_a_sentence_of_its_own() -> None:
    said = [say_no_rate(why) for why in get_args(NoRate)]
    assert all(sentence.startswith("No rate can be given: ") and sentence[-1] in ".?" for sentence in said)
    assert len(set(said)) == len(get_args(NoRate))
    assert say_no_rate(None) == ""


def test_every_reason_for_no_date_has_a_sentence_of_its_own() -> None:
    said = [say_no_date(WhyNot(why, "warmth", (12.0, 40.0, 100.0))) for why in NO_DATES]
    assert all(sentence[0].isupper() and sentence[-1] in ".?" and "{" not in sentence for sentence in said)
    assert len(set(said)) == len(NO_DATES)


@pytest.mark.parametrize(
    ("why", "region", "sentence"),
    [
        (
            WhyNot("not sure", "warmth", (12.0, 41.6)),
            "root",
            "No date can be given yet: the limit for warmth at the root is passed within 12 months of the last photo "
            "in 42 of 100 cases. One more photo would make it more certain.",
        ),
        (
            WhyNot("impossible", "lightness", (120.0, 0.0, 100.0)),
            "end",
            "The limit for lightness at the ends is 120, which no hair can have: agree one between 0 and 100.",
        ),
        (WhyNot("passed"), "end", "The agreed limit was passed before the last photo."),
        (
            WhyNot("not soon", "root", (12.0, 3.0)),
            "end",
            "The limit for length of the root will most likely not be passed within 12 months of the last photo.",
        ),
        ("The disk is full.", "end", "The disk is full."),
        (None, "end", ""),
    ],
)
def test_why_there_is_no_date(why: WhyNot | str | None, region: str, sentence: str) -> None:
    assert say_no_date(why, region) == sentence


def test_a_limit_is_named_with_its_band_and_a_column_of_a_table_as_it_is() -> None:
    assert [say_limit(name, "mid") for name in ("depth", "root", "L*")] == [
        "depth at the mid-lengths",
        "length of the root",
        "L*",
    ]


@pytest.mark.parametrize(
    ("outside", "at_least", "said"),
    [
        (("darker", ""), 2.04, "at least 2.0 levels lighter (before is darker than 1)"),
        (("lighter", ""), 2.0, "at least 2.0 levels darker (before is lighter than 10)"),
        (("", "darker"), 2.0, "at least 2.0 levels darker (after is darker than 1)"),
        (("", "lighter"), 2.0, "at least 2.0 levels lighter (after is lighter than 10)"),
        (("darker", "lighter"), 8.0, "at least 8.0 levels lighter (before is darker than 1)"),
        (("lighter", "darker"), 8.0, "at least 8.0 levels darker (before is lighter than 10)"),
        (("lighter", "lighter"), 0.0, "both lighter than 10"),
        (("", "lighter"), 0.04, "no lift can be given (after is lighter than 10)"),
    ],
)
def test_a_lift_beyond_the_scale(outside: tuple[Outside, Outside], at_least: float, said: str) -> None:
    assert say_lift(Lift(None, at_least, outside)) == said


def test_all_that_differs_between_two_kits_is_said() -> None:
    match = KitMatch(("camera", "light"), ("1.1", "1.2"), (), None)
    assert say_kits(match) == (
        "Taken with another camera and another light, and measured by versions 1.1 and 1.2 of the method, so the "
        "result is less certain."
    )
