"""One question at a time: word and number agree, and both are right as often as they say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import nct, norm, ttest_ind
from scipy.stats import t as student

from tracker.calibrate.level import DEFAULT_SCALE
from tracker.compare.answer import (
    Spread,
    answer_lightness,
    answer_tone,
    chance_of_an_answer,
    lightness_margin,
    photos_to_settle,
    tone_margin,
)
from tracker.maths.colorimetry import delta_e_2000

SIZES = st.floats(-12, 12)
VARIANCES = st.floats(0.01, 9)


@given(SIZES, VARIANCES, st.floats(0.5, 6), st.floats(2, 60))
def test_word_and_interval_never_contradict_each_other(
    value: float, variance: float, margin: float, dof: float
) -> None:
    spread = Spread(variance, own_dof=dof)
    for answer, more, less, same in (
        (answer_lightness(value, spread, margin), "lighter", "darker", "no difference"),
        (answer_tone(value, spread, margin), "warmer", "ashier", "same tone"),
    ):
        assert answer.low <= answer.value <= answer.high
        assert (answer.says == more) == (answer.low > 0)
        assert (answer.says == less) == (answer.high < 0)
        within = -margin <= answer.low <= 0 <= answer.high <= margin
        assert (answer.says == same) == within
        # the interval excludes zero just where chance alone shows as much less than once in twenty times
        assert answer.changed == (answer.p_value < 0.05)
        if answer.grade == "a little":
            assert max(abs(answer.low), abs(answer.high)) <= margin
        if answer.grade == "clearly":
            assert min(abs(answer.low), abs(answer.high)) > margin


def test_a_sure_change_within_the_margin_is_a_little_lighter_and_not_nothing() -> None:
    answer = answer_lightness(1.0, Spread(0.1), 2.5)
    assert (answer.says, answer.grade) == ("lighter", "a little")
    assert (answer_lightness(3.0, Spread(1.0), 2.5)).grade == ""
    assert (answer_lightness(6.0, Spread(1.0), 2.5)).grade == "clearly"


def test_it_is_the_t_test_of_two_means() -> None:
    rng = np.random.default_rng(4)
    for _ in range(20):
        before, after = rng.normal(0, 1, 5), rng.normal(0.8, 1, 5)
        variance = (before.var(ddof=1) + after.var(ddof=1)) / 2
        answer = answer_lightness(after.mean() - before.mean(), Spread(2 * variance / 5, own_dof=8), 2.5)
        test = ttest_ind(after, before)  # scipy.stats, equal variances
        assert answer.p_value == pytest.approx(test.pvalue)
        low, high = test.confidence_interval(0.95)
        assert (answer.low, answer.high) == pytest.approx((low, high))


def test_by_hand() -> None:
    # 2.77 times the spread of single photos (Bland and Altman 1996): s = 0.8 gives 2.2 L*; of true changes by 2 and by
    # 3 L*, 43 and 76 % are then found (design of the project, power of a normal test)
    single = Spread(2 * 0.8**2)
    reach = answer_lightness(0.0, single, 2.5).high
    assert reach == pytest.approx(2.77 * 0.8, abs=0.01)
    for true, power in ((2.0, 0.43), (3.0, 0.76)):
        assert norm.sf((reach - true) / single.u) == pytest.approx(power, abs=0.01)
    # effective degrees of freedom, u^4 over the sum of u_i^4 / nu_i (GUM G.2b): 9 with nine of them and 16 with many
    assert Spread(9.0, occasion=16.0, own_dof=9.0).dof == pytest.approx(25**2 / (81 / 9))


def test_false_answers_and_power_are_those_of_students_t() -> None:
    rng = np.random.default_rng(11)
    dof, number = 10, 4000
    variance = rng.chisquare(dof, number) / dof
    noise = rng.normal(size=number)
    spreads = [Spread(v, own_dof=dof) for v in variance]
    false = np.mean([answer_lightness(e, s, 2.5).changed for e, s in zip(noise, spreads, strict=True)])
    assert false == pytest.approx(0.05, abs=0.012)
    found = np.mean([answer_lightness(3 + e, s, 2.5).says == "lighter" for e, s in zip(noise, spreads, strict=True)])
    assert found == pytest.approx(nct.sf(student.ppf(0.975, dof), dof, 3.0), abs=0.025)  # scipy's noncentral t


def test_no_difference_can_be_reached_and_is_rarely_said_of_a_difference_beyond_the_margin() -> None:
    rng = np.random.default_rng(5)
    spread, margin = Spread(1.0), 2.5
    seen = [answer_lightness(e, spread, margin).says for e in rng.normal(0.0, 1.0, 3000)]
    # the whole interval lies within: |d| < 2.5 - 1.96
    assert seen.count("no difference") / 3000 == pytest.approx(2 * norm.cdf(2.5 - 1.96) - 1, abs=0.03)
    beyond = [answer_lightness(margin + e, spread, margin).says for e in rng.normal(0.0, 1.0, 3000)]
    assert beyond.count("no difference") / 3000 <= 0.03


def test_the_margin_is_half_a_level_and_never_less_than_two_and_a_half() -> None:
    # the built-in scale: L* = 10.62 + 7.78 exp(0.22 (level - 1)) (design of the project), so half a level is 0.11 of
    # what lies above 10.62
    assert lightness_margin(60.0, DEFAULT_SCALE) == pytest.approx(0.11 * (60 - 10.62))
    assert lightness_margin(25.0, DEFAULT_SCALE) == 2.5
    # above what half of observers accept, 1.8, and notice, 0.8 (Paravina et al. 2015, teeth)
    assert lightness_margin(5.0, DEFAULT_SCALE) > 1.8


@pytest.mark.parametrize("colour", [(22.0, 0.0, 9.0), (42.0, 2.0, 20.0), (82.0, 5.0, 40.0)])
def test_the_margin_of_tone_is_an_accepted_difference(colour: tuple[float, float, float]) -> None:
    chroma = math.hypot(*colour[1:])
    way = np.array([0.0, *colour[1:]]) / chroma
    size = float(delta_e_2000(np.subtract(colour, way / 2), np.add(colour, way / 2)))
    assert tone_margin(chroma) == pytest.approx(1.8 / size, rel=0.03)  # ΔE00 1.8, Paravina et al. 2015


def test_more_photos_shrink_what_is_their_own_and_nothing_else() -> None:
    one = Spread(1.2, 0.6, 0.3, 0.1, 20, 8)
    lain, anew = one.with_photos(4, anew=False), one.with_photos(4, anew=True)
    assert (lain.own, lain.lain, lain.occasion, lain.kit) == (0.3, 0.6, 0.3, 0.1)
    assert (anew.own, anew.lain) == pytest.approx((0.3, 0.15))
    assert lain.with_photos(8, anew=False).own == pytest.approx(0.15)
    assert lain.own_dof == 26  # three more photos on each side


@given(SIZES, VARIANCES, VARIANCES, st.integers(2, 12))
def test_chances_are_chances(value: float, own: float, occasion: float, photos: int) -> None:
    answer = answer_lightness(value, Spread(own, occasion=occasion), 2.5)
    assert 0 <= chance_of_an_answer(answer, photos) <= 1


def test_a_chance_is_the_share_of_what_may_come() -> None:
    # by drawing the photos that may come: three of each join the first, and what the occasion shares stays
    rng = np.random.default_rng(2)
    answer = answer_lightness(2.0, Spread(1.6, occasion=0.4), 2.5)
    then = answer.spread.with_photos(4, anew=False)
    first = rng.normal(0, math.sqrt(1.6), 20000)
    others = rng.normal(0, math.sqrt(1.6 / 3), 20000)
    later = answer.value + 0.75 * (others - first)
    share = np.mean([answer_lightness(value, then, 2.5).sure for value in later])
    assert chance_of_an_answer(answer, 4) == pytest.approx(share, abs=0.01)


def test_as_many_photos_as_are_named_more_likely_than_not_settle_it_and_fewer_do_not() -> None:
    for value, own, occasion in ((3.0, 2.5, 0.2), (0.2, 2.5, 0.2), (4.0, 5.0, 0.5)):
        answer = answer_lightness(value, Spread(own, occasion=occasion), 2.5)
        needed = photos_to_settle(answer)
        assert needed is not None
        assert chance_of_an_answer(answer, needed) > 0.5
        assert needed == 2 or chance_of_an_answer(answer, needed - 1) < 0.62


def test_photos_are_not_asked_for_where_they_would_not_help() -> None:
    hopeless = answer_lightness(1.5, Spread(0.05, occasion=2.5), 2.5)
    assert photos_to_settle(hopeless) is None
    assert photos_to_settle(answer_lightness(9.0, Spread(1.0), 2.5)) is None  # settled
    lain = answer_lightness(2.0, Spread(0.05, lain=2.5), 2.5)
    assert photos_to_settle(lain) is None
    assert photos_to_settle(lain, anew=True) is not None
    assert replace(lain, spread=Spread(0.0)).p_value == 0.0
