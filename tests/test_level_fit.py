"""The studio's own level scale: it rises whatever the swatches read, and says how unsure it is."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.calibrate.level import DEFAULT_SCALE, LevelScale, estimate_level, estimate_lift
from tracker.calibrate.level_fit import LevelSwatch, fit_scale
from tracker.errors import CannotCalibrate
from tracker.maths.quantities import LabMeasured, matrix3
from tracker.maths.uncertainty import coverage_factor


def swatch(level: float, lightness: float, u: float = 0.5, name: str = "") -> LevelSwatch:
    lab = LabMeasured((lightness, 5.0, 12.0), matrix3(np.diag([u * u, 0.2, 0.2])))
    return LevelSwatch(name or f"swatch {level:g}", level, lab)


def curve(first: float, last: float, rate: float) -> LevelScale:
    """The curve through those ends."""
    span = (last - first) / math.expm1(9 * rate)
    exact = matrix3(np.zeros((3, 3)))
    return LevelScale("truth", first - span, span, rate, 0.0, provisional=False, cov=exact)


def fitted(pairs: list[tuple[float, float]]) -> LevelScale:
    return fit_scale([swatch(*pair) for pair in pairs], "own").scale


@given(
    st.lists(st.tuples(st.floats(1, 10), st.floats(3, 97)), min_size=3, max_size=14),
    st.floats(0.2, 4),
)
def test_whatever_the_swatches_read_the_scale_rises_and_inverts_or_is_refused(
    pairs: list[tuple[float, float]], u: float
) -> None:
    try:
        scale = fit_scale([swatch(level, lightness, u) for level, lightness in pairs], "own").scale
    except CannotCalibrate:
        return
    levels = np.linspace(1, 10, 91)
    lightness = np.array([scale.lightness(level) for level in levels])
    assert np.all(np.diff(lightness) > 0)
    np.testing.assert_allclose([scale.level(value) for value in lightness], levels, atol=1e-6)
    assert all(scale.slope(value) > 0 for value in lightness)
    assert all(0 < scale.uncertainty(value) < 3 for value in lightness)


SIX = [(2, 20.0), (4, 26.0), (5, 30.0), (6, 37.0), (8, 50.0), (9, 61.0)]


@cache
def in_order() -> float:
    return fitted(SIX).lightness(7)


@given(st.permutations(range(6)))
def test_the_order_of_the_swatches_does_not_matter(order: list[int]) -> None:
    assert fitted([SIX[i] for i in order]).lightness(7) == pytest.approx(in_order(), abs=1e-3)


@pytest.mark.parametrize("truth", [(18.4, 67.0, 0.22), (16.0, 74.0, 0.17), (20.0, 62.0, 0.27)])
def test_swatches_of_a_known_curve_give_it_back(truth: tuple[float, float, float]) -> None:
    known = curve(*truth)
    scale = fit_scale([swatch(level, known.lightness(level), 0.2) for level in range(1, 11)], "own").scale
    assert [scale.level(known.lightness(level)) for level in range(1, 11)] == pytest.approx(range(1, 11), abs=0.15)


def test_three_swatches_move_the_scale_and_leave_it_unsure_where_there_are_none() -> None:
    scale = fitted([(5, 33.0), (6, 39.0), (8, 56.0)])
    assert [scale.level(value) for value in (33.0, 39.0, 56.0)] == pytest.approx([5, 6, 8], abs=0.35)
    assert not scale.provisional
    assert scale.span_levels == (5, 8)
    inside, outside = (scale.uncertainty(scale.lightness(level)) for level in (6, 1))
    assert outside > 1.7 * inside
    # a shift that the swatches show moves the levels of kept readings too: 4 L* at 11 L* a level and less
    assert scale.level(33.0) < DEFAULT_SCALE.level(33.0) - 0.4


def test_uncertainty_of_the_shape_by_differences() -> None:
    # GUM 5.1.3: the change of the level for a small change of each of the three numbers
    scale = fitted([(2, 20.0), (5, 31.0), (8, 53.0)])
    ends = np.array([scale.lightness(1), scale.lightness(10), scale.rate])
    for lightness in (19.0, 30.0, 45.0, 60.0):
        slopes = []
        for axis, step in enumerate((1e-4, 1e-4, 1e-6)):
            moved = ends.copy()
            moved[axis] += step
            slopes.append((curve(*moved).level(lightness) - scale.level(lightness)) / step)
        expected = math.sqrt(np.array(slopes) @ np.array(scale.cov) @ np.array(slopes))
        assert scale.uncertainty(lightness) == pytest.approx(math.hypot(scale.u, expected), rel=1e-3)
    assert scale.difference_uncertainty(40.0, 40.0) == pytest.approx(0.0, abs=1e-9)


@given(
    st.lists(st.tuples(st.integers(1, 10), st.floats(-1, 1)), min_size=3, max_size=10),
    st.floats(0.2, 4),
    st.floats(19, 66),
    st.floats(19, 66),
)
def test_swatches_only_ever_make_a_scale_surer(
    rows: list[tuple[int, float]], u: float, first: float, second: float
) -> None:
    try:
        scale = fit_scale([swatch(level, DEFAULT_SCALE.lightness(level) + off, u) for level, off in rows], "own").scale
    except CannotCalibrate:
        return
    # what swatches add is never negative (GUM H.3): the built-in scale is the one with no swatch at all
    assert np.linalg.eigvalsh(np.array(DEFAULT_SCALE.cov) - np.array(scale.cov)).min() > -1e-9
    as_before = replace(scale, cov=DEFAULT_SCALE.cov)
    assert scale.difference_uncertainty(first, second) <= as_before.difference_uncertainty(first, second) + 1e-9
    own, built_in = (estimate_lift(first, second, u, u, each).value for each in (scale, as_before))
    if own is not None and built_in is not None:
        assert own.u <= built_in.u


@given(st.sets(st.integers(1, 10), min_size=3), st.floats(19, 66), st.floats(19, 66))
def test_a_lift_is_surer_on_an_own_scale_than_on_the_built_in_one(
    levels: set[int], first: float, second: float
) -> None:
    try:
        scale = fitted([(level, DEFAULT_SCALE.lightness(level)) for level in levels])
    except CannotCalibrate:
        return
    assert scale.difference_uncertainty(first, second) <= DEFAULT_SCALE.difference_uncertainty(first, second) + 1e-6
    assert scale.uncertainty(first) <= DEFAULT_SCALE.uncertainty(first) + 1e-6


def test_levels_and_lifts_carry_the_scales_own_doubt() -> None:
    scale = fitted([(2, 20.0), (5, 31.0), (8, 53.0)])
    lab = LabMeasured((31.0, 5.0, 12.0), matrix3(np.diag([0.64, 0.2, 0.2])))
    reading = estimate_level(lab, scale)
    assert reading.value is not None
    assert reading.value.u == pytest.approx(math.hypot(0.8 / scale.slope(31.0), scale.uncertainty(31.0)))
    lift = estimate_lift(22.0, 55.0, 0.8, 0.8, scale).value
    assert lift is not None
    assert lift.u > math.hypot(0.8 / scale.slope(22.0), 0.8 / scale.slope(55.0))


# intervals that hold the truth in 90 of 100 fail 500 scales in 98 runs of 100 (binomial), and 2,000 always
@pytest.mark.parametrize("scales", [500, pytest.param(2000, marks=pytest.mark.slow)])
def test_levels_read_on_an_own_scale_hold_the_truth(scales: int) -> None:
    rng = np.random.default_rng(4)
    held = []
    while len(held) < scales:
        truth = curve(*rng.normal([18.4, 67.0, 0.22], [1.5, 5.0, 0.045]))
        if not 0.05 < truth.rate < 0.4:
            continue
        labels = rng.choice(np.arange(1, 11), 5, replace=False)
        # a swatch is off its label by a quarter of a level, and its photo by half an L*
        rows = [(label, truth.lightness(label + rng.normal(0, 0.25)) + rng.normal(0, 0.5)) for label in labels.tolist()]
        try:
            scale = fitted(rows)
        except CannotCalibrate:
            continue
        # one's own hair of that level is off as a label is
        level = rng.uniform(2, 9)
        read = scale.level(truth.lightness(level + rng.normal(0, 0.25)))
        held.append(abs(read - level) <= coverage_factor(math.inf) * scale.uncertainty(truth.lightness(level)))
    assert 0.93 <= np.mean(held) <= 0.98


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        ([(5, 30.0), (5, 31.0), (6, 36.0)], "at least 3 levels"),
        ([], "at least 3 levels"),
        ([(5, 30.0), (5.5, 33.0), (6, 36.0)], "span 1 levels"),
        ([(5, 30.0), (7, 44.0), (6, 50.0)], "reads darker"),
        ([(5, 30.0), (7, 44.0), (11, 80.0)], "Levels go from 1 to 10"),
        ([(3, 22.7), (4, 25.7), (5, 29.4), (6, 34.0), (7, 70.0), (8, 70.5), (9, 71.0)], "reads like level"),
    ],
)
def test_what_makes_no_scale_is_refused_with_the_swatch_and_the_limit(
    pairs: list[tuple[float, float]], says: str
) -> None:
    with pytest.raises(CannotCalibrate, match=says) as caught:
        fitted(pairs)
    assert caught.value.advice


def test_swatches_in_the_wrong_order_are_refused_where_their_photos_do_not_explain_it() -> None:
    # two photos of 1 L* each differ by less than 2 x sqrt(2) = 2.8 in 95 of 100 cases (GUM 5.1.2, 6.2)
    def row(fall: float) -> list[LevelSwatch]:
        return [swatch(5, 31.0, 1.0), swatch(6, 31.0 - fall, 1.0), swatch(8, 53.0, 1.0), swatch(2, 20.0, 1.0)]

    assert len(fit_scale(row(2.6), "own").residuals) == 4
    with pytest.raises(CannotCalibrate, match="reads darker") as caught:
        fit_scale(row(3.1), "own")
    assert caught.value.limit == pytest.approx(2.83, abs=0.01)


def test_a_chart_whose_light_levels_lie_far_apart_is_followed() -> None:
    # drawn from a curve that rises nearly twice as fast as the built-in one, every level photographed
    truth = curve(18.0, 68.0, 0.40)
    found = fit_scale([swatch(level, truth.lightness(level), 0.2) for level in range(1, 11)], "own")
    assert found.scale.rate == pytest.approx(0.40, abs=0.06)
    # the quarter of a level by which labels lie off any smooth curve
    assert max(map(abs, found.residuals)) < 0.25


def test_a_swatch_that_is_not_known_well_weighs_little() -> None:
    rows = [(2, 20.0), (5, 31.0), (8, 53.0)]
    sure = fit_scale([*(swatch(*row) for row in rows), swatch(6, 42.0, 0.3)], "own").scale
    unsure = fit_scale([*(swatch(*row) for row in rows), swatch(6, 42.0, 9.0)], "own").scale
    assert sure.lightness(6) - fitted(rows).lightness(6) > 2 * (unsure.lightness(6) - fitted(rows).lightness(6))


def test_scale_keeps_its_name_and_says_what_it_rests_on() -> None:
    scale = fitted([(2, 20.0), (5, 31.0), (8, 53.0)])
    assert scale.name == "own"
    assert "3 swatches from level 2 to 8" in scale.source
    assert replace(scale, name="x").lightness(5) == scale.lightness(5)
