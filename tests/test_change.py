"""The verdict follows from the two answers; the size of a change is a number, never a test."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.compare.answer import Answer, Spread, answer_lightness, answer_tone
from tracker.compare.change import CANNOT_TELL, CHANGED, NO_CHANGE, Change, change_between, verdict_of
from tracker.maths.colorimetry import delta_e_2000
from tracker.maths.quantities import LabMeasured, matrix3

AT = (42.0, 8.0, 20.0)


def colour(lab: tuple[float, ...], sd: float) -> LabMeasured:
    return LabMeasured((lab[0], lab[1], lab[2]), matrix3(np.eye(3) * sd**2))


def lightness(value: float, variance: float = 1.0) -> Answer:
    return answer_lightness(value, Spread(variance), 2.5)


def tone(value: float, variance: float = 1.0) -> Answer:
    return answer_tone(value, Spread(variance), 3.0)


@pytest.mark.parametrize(
    ("lightness", "tone", "verdict"),
    [
        (lightness(4.0), tone(0.0), CHANGED),
        (lightness(0.0), tone(-4.0), CHANGED),
        (lightness(0.0), tone(0.0), NO_CHANGE),
        (lightness(1.0), tone(0.0), CANNOT_TELL),  # 1 + 1.96 is beyond 2.5
        (lightness(0.0), tone(1.5), CANNOT_TELL),
        (lightness(1.0), tone(4.0), CHANGED),
    ],
)
def test_the_verdict_follows_from_both_answers(lightness: Answer, tone: Answer, verdict: str) -> None:
    assert verdict_of(lightness, tone) == verdict
    change = change_between(colour(AT, 0.5), colour(AT, 0.5), lightness, tone, np.random.default_rng(1))
    assert change.verdict == verdict
    assert (change.lightness, change.warmth) == (lightness.changed, tone.changed)
    assert (change.photos_needed is None) or verdict == CANNOT_TELL


def test_the_chance_told_is_that_of_the_less_sure_change() -> None:
    def between(first: Answer, second: Answer) -> Change:
        return change_between(colour(AT, 0.5), colour(AT, 0.5), first, second, np.random.default_rng(1))

    sure, less = lightness(5.0), tone(2.2)
    assert between(sure, less).p_value == pytest.approx(less.p_value)
    assert between(sure, tone(0.5)).p_value == pytest.approx(sure.p_value)
    assert between(lightness(0.2), tone(0.5)).p_value == pytest.approx(tone(0.5).p_value)


def test_photos_are_asked_for_lightness_first() -> None:
    open_both = change_between(
        colour(AT, 0.5), colour(AT, 0.5), lightness(1.5, 1.2), tone(1.9, 1.0), np.random.default_rng(1)
    )
    alone = change_between(colour(AT, 0.5), colour(AT, 0.5), lightness(1.5, 1.2), tone(0.0), np.random.default_rng(1))
    assert open_both.photos_needed == alone.photos_needed
    assert alone.photos_needed is not None


@given(st.floats(0.05, 2), st.tuples(st.floats(-8, 8), st.floats(-5, 5), st.floats(-5, 5)))
def test_interval_of_the_size_holds_together(sd: float, delta: tuple[float, float, float]) -> None:
    after = tuple(np.add(AT, delta))
    answers = lightness(delta[0], 2 * sd**2), tone(delta[2], 2 * sd**2)
    change = change_between(colour(AT, sd), colour(after, sd), *answers, np.random.default_rng(2))
    assert 0 <= change.size.low <= change.size.high
    assert change.size.value <= change.size.high + 1e-6
    assert change.size.value == pytest.approx(float(delta_e_2000(AT, after)))
    np.testing.assert_allclose(change.u, np.sqrt(2) * sd)
