"""Level and lift on the provisional scale."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.calibrate.level import DEFAULT_SCALE, HALF_LEVELS, SPREAD, estimate_level, estimate_lift
from tracker.maths.quantities import LabMeasured, matrix3
from tracker.said.colour import say_level, say_lift


def grey(lightness: float, u: float = 0.8) -> LabMeasured:
    return LabMeasured((lightness, 0.0, 0.0), matrix3([[u * u, 0, 0], [0, 0.2, 0], [0, 0, 0.2]]))


# Scanavez et al. 2000, J Cosmet Sci 51:289-302, Tables III and IV: black hair L* 18.4, dark brown hair L* 22.5 to 23.8;
# which levels those are: common practice, no source. Level 10 at L* 67: from memory
@pytest.mark.parametrize(("lightness", "level", "within"), [(18.4, 1, 0.05), (22.7, 3, 0.05), (67.0, 10, 0.05)])
def test_scale_passes_through_its_anchors(lightness: float, level: float, within: float) -> None:
    assert DEFAULT_SCALE.level(lightness) == pytest.approx(level, abs=within)


@given(st.floats(0, 100), st.floats(0, 100))
def test_level_rises_with_lightness(first: float, second: float) -> None:
    low, high = sorted((first, second))
    assert DEFAULT_SCALE.level(low) <= DEFAULT_SCALE.level(high)
    inside = DEFAULT_SCALE.lightness(1) <= low < high - 1e-6 and high <= DEFAULT_SCALE.lightness(10)
    if inside:
        assert DEFAULT_SCALE.level(low) < DEFAULT_SCALE.level(high)


@given(st.floats(1, 10))
def test_lightness_and_level_invert(level: float) -> None:
    assert DEFAULT_SCALE.level(DEFAULT_SCALE.lightness(level)) == pytest.approx(level, abs=1e-9)


@pytest.mark.parametrize(
    ("lightness", "text"), [(9.0, "darker than 1"), (15.0, "darker than 1"), (75.0, "lighter than 10")]
)
def test_outside_the_scale_there_is_no_number(lightness: float, text: str) -> None:
    reading = estimate_level(grey(lightness))
    assert reading.value is None
    assert say_level(reading) == text
    assert reading.provisional


def test_level_carries_the_uncertainty_of_the_colour_and_of_the_scale() -> None:
    reading = estimate_level(grey(40.0))
    assert reading.value is not None
    slope = DEFAULT_SCALE.slope(40.0)
    step = (DEFAULT_SCALE.level(40.05) - DEFAULT_SCALE.level(39.95)) / 0.1
    assert 1 / slope == pytest.approx(step, rel=1e-4)
    assert reading.value.u == pytest.approx(math.hypot(0.8 / slope, DEFAULT_SCALE.uncertainty(40.0)))
    # darkest hair: the same error in L* is worth more levels
    dark, light = estimate_level(grey(19.0)).value, estimate_level(grey(60.0)).value
    assert dark is not None
    assert light is not None
    assert dark.u > light.u


def test_lift_drops_what_the_scale_is_off_by_at_both_alike() -> None:
    lift = estimate_lift(28.0, 45.0, 0.8, 0.8)
    assert lift.value is not None
    assert lift.value.u < DEFAULT_SCALE.uncertainty(28.0)
    assert lift.value.value == pytest.approx(DEFAULT_SCALE.level(45) - DEFAULT_SCALE.level(28))
    assert say_lift(lift) == "3.1 levels lighter (± 0.9)"
    assert say_lift(estimate_lift(45.0, 28.0, 0.8, 0.8)) == "3.1 levels darker (± 0.9)"
    assert say_lift(estimate_lift(30.0, 30.0, 0.8, 0.8)).startswith("level unchanged")


lightnesses = st.floats(DEFAULT_SCALE.lightness(1), DEFAULT_SCALE.lightness(10))


@given(lightnesses, lightnesses)
def test_the_scale_parts_far_levels_and_hardly_near_ones(first: float, second: float) -> None:
    u = DEFAULT_SCALE.difference_uncertainty(first, second)
    alone = [DEFAULT_SCALE.uncertainty(lightness) for lightness in (first, second)]
    assert u == pytest.approx(DEFAULT_SCALE.difference_uncertainty(second, first))
    assert u <= sum(alone)
    # an error of one smooth curve: a small step is off by a share of itself, with no part that stays
    assert u <= 0.5 * abs(DEFAULT_SCALE.level(second) - DEFAULT_SCALE.level(first)) + 1e-9


def test_the_stated_model_of_the_scale_holds_what_it_says() -> None:
    rng = np.random.default_rng(11)
    drawn = rng.normal((DEFAULT_SCALE.lightness(1), DEFAULT_SCALE.lightness(10), DEFAULT_SCALE.rate), SPREAD, (4000, 3))
    drawn = drawn[(drawn[:, 2] > 0.04) & (drawn[:, 1] > drawn[:, 0] + 20)]
    spans = (drawn[:, 1] - drawn[:, 0]) / np.expm1(9 * drawn[:, 2])
    for before, after in ((24.0, 26.0), (28.0, 45.0), (30.0, 60.0), (45.0, 55.0)):
        share = [(lightness - drawn[:, 0]) / spans for lightness in (before, after)]
        lifts = (np.log1p(share[1]) - np.log1p(share[0])) / drawn[:, 2]
        lift = estimate_lift(before, after, 0.0, 0.0).value
        assert lift is not None
        # GUM 6.2: the interval holds the lift of 95 in 100 scales; less exactly so where the curve bends
        assert 0.92 <= np.mean(np.abs(lifts - lift.value) <= 1.96 * lift.u) <= 0.99


@given(lightnesses, lightnesses, st.floats(0, 3), st.floats(0, 3), st.floats(0, 1))
def test_a_less_known_scale_never_makes_a_lift_surer(
    before: float, after: float, u_before: float, u_after: float, share: float
) -> None:
    known = replace(DEFAULT_SCALE, cov=matrix3(share * np.array(DEFAULT_SCALE.cov)))
    surer, found = (estimate_lift(before, after, u_before, u_after, scale).value for scale in (known, DEFAULT_SCALE))
    assert surer is not None
    assert found is not None
    assert surer.u <= found.u + 1e-12
    assert surer.value == found.value


def test_lift_from_outside_the_scale_is_a_bound_that_holds() -> None:
    lift = estimate_lift(14.0, 45.0, 0.8, 0.8)
    assert lift.value is None
    # both give way by 1.96 standard uncertainties; the dark end stays below the scale; and so does the scale's shape
    light = 45 - 1.96 * 0.8
    shape = 1.96 * DEFAULT_SCALE.difference_uncertainty(14.0, light)
    assert lift.at_least == pytest.approx(DEFAULT_SCALE.level(light) - 1 - shape, abs=1e-3)
    assert say_lift(lift) == "at least 4.2 levels lighter (before is darker than 1)"
    assert say_lift(estimate_lift(40.0, 80.0, 1, 1)).endswith("(after is lighter than 10)")
    assert say_lift(estimate_lift(12.0, 14.0, 1, 1)) == "both darker than 1"


@given(st.floats(3, 18), lightnesses, st.floats(0.1, 2))
def test_a_bound_never_promises_more_than_the_same_pair_just_inside_the_scale(
    dark: float, light: float, u: float
) -> None:
    bound = estimate_lift(dark, light, u, u).at_least
    inside = estimate_lift(DEFAULT_SCALE.lightness(1), light, u, u).value
    assert bound is not None
    assert inside is not None
    assert bound <= max(inside.value - 1.96 * DEFAULT_SCALE.difference_uncertainty(dark, light), 0.0) + 0.05


def test_no_bound_inside_the_noise() -> None:
    assert say_lift(estimate_lift(18.3, 18.6, 1, 1)) == "no lift can be given (before is darker than 1)"


def test_levels_around_a_start_go_by_halves_and_stay_on_the_scale() -> None:
    at = DEFAULT_SCALE.lightness
    # by hand: 6.3 is nearest to 6.5, 6.2 to 6
    assert DEFAULT_SCALE.around(at(6.3), 1.0) == (5.5, 7.5)
    assert DEFAULT_SCALE.around(at(6.2), 1.0) == (5.0, 7.0)
    assert DEFAULT_SCALE.around(at(1.2), 1.0) == (1.0, 2.0)
    assert DEFAULT_SCALE.around(at(10.0) + 5, 2.0) == (8.0, 10.0)


def test_a_small_change_in_levels_is_what_the_scale_itself_moves_by() -> None:
    # the difference quotient of the curve itself
    change = DEFAULT_SCALE.lightness(6.01) - DEFAULT_SCALE.lightness(5.99)
    assert DEFAULT_SCALE.levels(change, 6.0) == pytest.approx(0.02, rel=1e-4)


def test_a_person_chooses_among_nineteen_half_levels() -> None:
    assert HALF_LEVELS[:3] == (1.0, 1.5, 2.0)
    assert HALF_LEVELS[-1] == 10.0
    assert len(HALF_LEVELS) == 19
