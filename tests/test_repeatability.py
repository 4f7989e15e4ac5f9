"""Scatter between photos of the same hair, against published studies of other gauges."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.errors import TooFewReadings
from tracker.repeatability import (
    PROVISIONAL,
    gauge_study,
    mdc95,
    photos_needed,
    study_repeatability,
    within_subject_sd,
)

# Bland & Altman 1986, Lancet 327:307-310, table 1: peak flow of 17 people, each meter twice, l/min
# (data as distributed with the R package blandr)
LARGE_METER = np.array(
    [
        *([494, 490], [395, 397], [516, 512], [434, 401], [476, 470], [557, 611], [413, 415], [442, 431], [650, 638]),
        *([433, 429], [417, 420], [656, 633], [267, 275], [478, 492], [178, 165], [423, 372], [427, 421]),
    ]
)
MINI_METER = np.array(
    [
        *([512, 525], [430, 415], [520, 508], [428, 444], [500, 500], [600, 625], [364, 460], [380, 390], [658, 642]),
        *([445, 432], [432, 420], [626, 605], [260, 227], [477, 467], [259, 268], [350, 370], [451, 443]),
    ]
)

# Shrout & Fleiss 1979, table 2: six targets, four judges
JUDGES = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])


def values_with_sums(
    shape: tuple[int, int, int], *, part: float, operator: float, cross: float, error: float
) -> np.ndarray:
    """A balanced study whose sums of squares are exactly those given."""
    p, o, r = shape

    def contrast(n: int) -> np.ndarray:
        centred = np.arange(n) - (n - 1) / 2
        return centred / np.sqrt(np.sum(centred**2))

    a, b, c = contrast(p), contrast(o), contrast(r)
    values = np.zeros(shape)
    values += a[:, None, None] * math.sqrt(part / (o * r))
    values += b[None, :, None] * math.sqrt(operator / (p * r))
    values += (a[:, None] * b[None, :])[:, :, None] * math.sqrt(cross / r)
    return values + np.ones((p, o))[:, :, None] * c[None, None, :] * math.sqrt(error / (p * o))


class TestWithinSubject:
    @pytest.mark.parametrize(
        ("pairs", "repeatability"),
        # Bland & Altman 1986: coefficient of repeatability 43.2 and 56.4 l/min (printed, from memory);
        # the data give 43.3 and 56.3 as 2 sqrt(mean d²), that is 2 sqrt(2) times the spread
        [(LARGE_METER, 43.2), (MINI_METER, 56.4)],
        ids=["large meter", "mini meter"],
    )
    def test_peak_flow_meters(self, pairs: np.ndarray, repeatability: float) -> None:
        spread = within_subject_sd(pairs)
        assert 2 * math.sqrt(2) * spread.value == pytest.approx(repeatability, abs=0.15)
        assert spread.dof == 17

    def test_uncertainty_of_the_spread(self) -> None:
        # GUM E.4.3: relative uncertainty about 1 / sqrt(2 dof): 16 % at 20 degrees of freedom
        rng = np.random.default_rng(1)
        spread = within_subject_sd(rng.normal(0, 1, (10, 3)))
        assert spread.u / spread.value == pytest.approx(0.158, abs=0.001)

    def test_unequal_groups_and_single_photos(self) -> None:
        # by hand: squares 2 + 8 over 2 + 1 degrees of freedom
        assert within_subject_sd([[1, 2, 3], [0, 4], [7]]).value == pytest.approx(math.sqrt(10 / 3))

    @given(st.floats(-1e3, 1e3))
    def test_differences_between_heads_do_not_count(self, shift: float) -> None:
        still = within_subject_sd([[1.0, 2.0], [1.5, 2.5]]).value
        assert within_subject_sd([[1.0, 2.0], [1.5 + shift, 2.5 + shift]]).value == pytest.approx(still, rel=1e-6)

    @pytest.mark.parametrize("groups", [[], [[1.0]], [[1.0], [2.0], []]])
    def test_nothing_was_repeated(self, groups: list[list[float]]) -> None:
        with pytest.raises(TooFewReadings, match="twice"):
            within_subject_sd(groups)

    def test_refuses_what_is_not_finite(self) -> None:
        with pytest.raises(ValueError, match="finite"):
            within_subject_sd([[1.0, math.nan]])


class TestStudy:
    def test_three_channels(self) -> None:
        rng = np.random.default_rng(2)
        heads = rng.uniform([10, 0, 0], [70, 10, 30], (300, 3))
        photos = [rng.normal(head, [0.9, 0.3, 0.5], (4, 3)) for head in heads]
        study = study_repeatability(photos, "spring")
        np.testing.assert_allclose(study.sd, [0.9, 0.3, 0.5], rtol=0.06)
        assert study.dof == 900
        assert not study.provisional
        assert "1200 photos of 300" in study.source

    def test_refuses_other_shapes(self) -> None:
        with pytest.raises(ValueError, match=r"L\*, a\* and b\*"):
            study_repeatability([[[1.0, 2.0], [1.0, 2.0]]], "wrong")

    def test_provisional_says_so(self) -> None:
        assert PROVISIONAL.provisional
        assert "Scanavez et al. 2000" in PROVISIONAL.source


class TestSmallestChange:
    def test_single_photos(self) -> None:
        # Weir 2005: 1.96 times the root of two, 2.77 times the spread
        assert mdc95(0.8) == pytest.approx(2.77 * 0.8, abs=0.005)

    def test_few_degrees_of_freedom_cost(self) -> None:
        # t 2.23 at 10 degrees of freedom (JCGM 100:2008, table G.2)
        assert mdc95(1.0, 3, 3, dof=10) == pytest.approx(2.23 * math.sqrt(2 / 3), abs=0.005)

    def test_scatter_alone_rarely_reaches_it(self) -> None:
        rng = np.random.default_rng(3)
        sd, limit = 0.8, mdc95(0.8, 2, 3)
        change = rng.normal(0, sd, (20_000, 2)).mean(axis=1) - rng.normal(0, sd, (20_000, 3)).mean(axis=1)
        assert np.mean(np.abs(change) > limit) == pytest.approx(0.05, abs=0.006)

    def test_photos_by_hand(self) -> None:
        # 2 (1.96 x 0.8 / 1)² = 4.92
        assert photos_needed(0.8, 1.0) == 5
        assert photos_needed(0.0, 1.0) == 1

    @given(st.floats(0.01, 5), st.floats(0.2, 10))
    def test_that_many_are_enough_and_one_less_is_not(self, sd: float, margin: float) -> None:
        n = photos_needed(sd, margin)
        assert mdc95(sd, n, n) <= margin * (1 + 1e-6)
        if n > 1:
            assert mdc95(sd, n - 1, n - 1) > margin

    @pytest.mark.parametrize(("sd", "margin"), [(1.0, 0.0), (-1.0, 1.0), (math.nan, 1.0), (1.0, math.nan)])
    def test_refuses(self, sd: float, margin: float) -> None:
        with pytest.raises(ValueError, match="margin"):
            photos_needed(sd, margin)

    def test_refuses_no_photos(self) -> None:
        with pytest.raises(ValueError, match="photos"):
            mdc95(1.0, 0, 1)


class TestGaugeStudy:
    def test_paper_helicopters(self) -> None:
        # Cano et al. 2012, chapter 5, as checked in the tests of the R package SixSigma: sums of squares
        # parts 1.2007, operators 0.0529, pooled error 0.4688 on 22; components .0213 .0006 .0643, 50.38 %, 2
        values = values_with_sums(
            (3, 3, 3), part=1.2007, operator=0.0529, cross=0.4688 * 4 / 22, error=0.4688 * 18 / 22
        )
        study = gauge_study(values)
        assert study.pooled
        assert study.dof == 22
        assert study.repeatability == pytest.approx(0.0213, abs=5e-5)
        assert study.operators == pytest.approx(0.0006, abs=5e-5)
        assert study.gauge == pytest.approx(0.0219, abs=5e-5)
        assert study.parts == pytest.approx(0.0643, abs=5e-5)
        assert study.total == pytest.approx(0.0862, abs=5e-5)
        assert study.percent_gauge == pytest.approx(50.38, abs=0.05)
        assert study.distinct_parts == 2

    def test_judges_of_shrout_and_fleiss(self) -> None:
        study = gauge_study(JUDGES[:, :, None])
        # their table 4: ICC(2,1) .29 with judges as they come, ICC(3,1) .71 with one judge's bias left out
        assert study.parts / study.total == pytest.approx(0.29, abs=0.005)
        assert study.parts / (study.parts + study.repeatability) == pytest.approx(0.71, abs=0.005)

    def test_consistency_hides_what_operators_do_differently(self) -> None:
        # the same data: 2.50 and 1.01, computed from the mean squares 32.49 and 1.02 of their table 3
        study = gauge_study(JUDGES[:, :, None])
        assert study.sd_any_operator == pytest.approx(2.50, abs=0.01)
        assert study.sd_same_operator == pytest.approx(1.01, abs=0.01)

    def test_days_of_the_guide(self) -> None:
        # JCGM 100:2008, H.5: ten days of five readings; within 85 µV; between, from the same table,
        # sqrt((5 x 57² - 85²) / 5) = 43 µV
        means = np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41])
        sds = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86])
        five = np.array([-2, -1, 0, 1, 2]) / math.sqrt(2.5)
        study = gauge_study((means[:, None] + sds[:, None] * five)[:, None, :])
        assert math.sqrt(study.repeatability) == pytest.approx(85, abs=0.5)
        assert math.sqrt(study.parts) == pytest.approx(43, abs=0.5)
        assert study.operators == 0
        assert study.dof == 40

    def test_interaction_by_hand(self) -> None:
        # mean squares: parts 20, operators 12, interaction 8/2, error 6/12
        study = gauge_study(values_with_sums((3, 2, 3), part=40, operator=12, cross=8, error=6))
        assert not study.pooled
        assert study.repeatability == pytest.approx(0.5)
        assert study.interaction == pytest.approx((4 - 0.5) / 3)
        assert study.operators == pytest.approx((12 - 4) / 9)
        assert study.parts == pytest.approx((20 - 4) / 6)

    def test_finds_the_components_it_was_made_of(self) -> None:
        rng = np.random.default_rng(4)
        parts, operators = rng.normal(0, 3, (400, 1, 1)), np.array([-0.5, 0.5])[None, :, None]
        study = gauge_study(parts + operators + rng.normal(0, 0.8, (400, 2, 3)))
        assert math.sqrt(study.parts) == pytest.approx(3, rel=0.1)
        assert math.sqrt(study.operators) == pytest.approx(math.sqrt(0.5), rel=0.1)
        assert math.sqrt(study.repeatability) == pytest.approx(0.8, rel=0.05)

    def test_a_perfect_gauge(self) -> None:
        study = gauge_study(np.array([1.0, 2.0, 3.0])[:, None, None] * np.ones((3, 2, 2)))
        assert (study.gauge, study.percent_gauge, study.distinct_parts) == (0.0, 0.0, math.inf)

    def test_nothing_varies(self) -> None:
        study = gauge_study(np.ones((3, 2, 2)))
        assert (study.total, study.percent_gauge, study.distinct_parts) == (0.0, 0.0, 0.0)

    @pytest.mark.parametrize("shape", [(1, 2, 3), (5, 1, 1)])
    def test_too_few(self, shape: tuple[int, int, int]) -> None:
        with pytest.raises(TooFewReadings):
            gauge_study(np.ones(shape))

    @pytest.mark.parametrize("values", [np.ones((3, 3)), np.full((3, 2, 2), math.nan)])
    def test_refuses(self, values: np.ndarray) -> None:
        with pytest.raises(ValueError, match="finite values"):
            gauge_study(values)
