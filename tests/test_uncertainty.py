"""The arithmetic of uncertainty against the worked examples of the guides it follows."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import (
    combined_u,
    coverage_factor,
    effective_dof,
    format_measured,
    hotelling,
)

# JCGM 100:2008, H.2.2 table H.2: five simultaneous readings of voltage, current and phase
VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERE = 1e-3 * np.array([19.663, 19.639, 19.640, 19.685, 19.678])
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def impedance() -> tuple[dict[str, float], dict[str, np.ndarray], np.ndarray]:
    """Values, sensitivities by (V, I, phase), and the covariance of the three means."""
    v, i, phi = VOLT.mean(), AMPERE.mean(), PHASE.mean()
    z = v / i
    values = {"R": z * math.cos(phi), "X": z * math.sin(phi), "Z": z}
    sensitivities = {
        "R": np.array([values["R"] / v, -values["R"] / i, -values["X"]]),
        "X": np.array([values["X"] / v, -values["X"] / i, values["R"]]),
        "Z": np.array([z / v, -z / i, 0.0]),
    }
    return values, sensitivities, np.cov([VOLT, AMPERE, PHASE]) / 5


class TestCombine:
    @pytest.mark.parametrize(
        ("name", "value", "u"),
        # JCGM 100:2008, H.2.4 table H.4; its u(X) is printed 0.295, the unrounded data give 0.2956
        [("R", 127.732, 0.071), ("X", 219.847, 0.2956), ("Z", 254.260, 0.236)],
    )
    def test_impedance_of_the_guide(self, name: str, value: float, u: float) -> None:
        values, sensitivities, cov = impedance()
        assert values[name] == pytest.approx(value, abs=1.5e-3)
        assert combined_u(sensitivities[name], cov) == pytest.approx(u, abs=5e-4)

    # JCGM 100:2008, H.2.4 note: wrong values when correlations are left out
    @pytest.mark.parametrize(("name", "wrong"), [("R", 0.195), ("X", 0.201), ("Z", 0.204)])
    def test_correlations_matter(self, name: str, wrong: float) -> None:
        _, sensitivities, cov = impedance()
        assert combined_u(sensitivities[name], np.diag(np.diag(cov))) == pytest.approx(wrong, abs=1e-3)
        assert combined_u(sensitivities[name], cov) != pytest.approx(wrong, rel=0.1)

    def test_fully_correlated_inputs_cancel(self) -> None:
        assert combined_u([1.0, -1.0], [[4.0, 4.0], [4.0, 4.0]]) == 0.0

    @pytest.mark.parametrize(
        "cov",
        [
            [[1.0, 0.0]],
            [[1.0, 0.5], [0.0, 1.0]],
            [[-1.0, 0.0], [0.0, 1.0]],
            [[1.0, 2.0], [2.0, 1.0]],
            [[math.nan, 0.0], [0.0, 1.0]],
        ],
        ids=["shape", "not symmetric", "negative variance", "correlation above one", "NaN"],
    )
    def test_refuses_what_is_no_covariance(self, cov: list[list[float]]) -> None:
        with pytest.raises(ValueError, match="covariance"):
            combined_u([1.0, 1.0], cov)


class TestEffectiveDof:
    # JCGM 100:2008, H.1 table H.1: standard, comparator, difference of expansion, difference of temperature
    DOF = (18.0, 25.6, 50.0, 2.0)

    def test_end_gauge_of_the_guide(self) -> None:
        # nm; the guide prints u_c 32 nm, dof 16 and U99 93 nm (H.1.5, H.1.6); u of the temperatures
        # is rectangular, 0.05 degrees over the root of three, and that of their difference drops out
        u = np.array([25.0, 9.7, 50_000_623 * 0.1 * 0.58e-6, 50_000_623 * 11.5e-6 * 0.05 / math.sqrt(3)])
        assert math.sqrt(float(np.sum(u**2))) == pytest.approx(31.71, abs=0.05)
        dof = effective_dof(u, self.DOF)
        assert math.floor(dof) == 16
        assert coverage_factor(math.floor(dof), 0.99) == pytest.approx(2.92, abs=0.005)
        assert coverage_factor(math.floor(dof), 0.99) * 31.71 == pytest.approx(93, abs=0.5)

    def test_one_source_keeps_its_own(self) -> None:
        assert effective_dof([2.5, 0.0], [7.0, 3.0]) == pytest.approx(7.0)

    @pytest.mark.parametrize(("u", "dof"), [([0.0, 0.0], [3.0, 4.0]), ([], []), ([1.0, 2.0], [math.inf, math.inf])])
    def test_infinite(self, u: list[float], dof: list[float]) -> None:
        assert effective_dof(u, dof) == math.inf

    def test_tiny_contributions_do_not_vanish(self) -> None:
        # the fourth power of 1e-120 is zero in floating point
        assert effective_dof([1e-120, 1e-120], [10.0, 10.0]) == pytest.approx(20.0)

    @pytest.mark.parametrize(
        ("u", "dof"), [([1.0], [1.0, 2.0]), ([1.0], [0.0]), ([-1.0], [2.0]), ([math.nan], [2.0]), ([1.0], [math.nan])]
    )
    def test_refuses(self, u: list[float], dof: list[float]) -> None:
        with pytest.raises(ValueError, match="degrees of freedom"):
            effective_dof(u, dof)

    @given(st.lists(st.tuples(st.floats(0.001, 1e3), st.floats(1, 1e3)), min_size=1, max_size=6))
    def test_lies_between_the_smallest_and_the_sum(self, parts: list[tuple[float, float]]) -> None:
        u, dof = zip(*parts, strict=True)
        assert min(dof) * (1 - 1e-9) <= effective_dof(u, dof) <= sum(dof) * (1 + 1e-9)


class TestCoverageFactor:
    # JCGM 100:2008, table G.2
    @pytest.mark.parametrize(
        ("dof", "level", "k"),
        [
            (1, 0.95, 12.71),
            (5, 0.9973, 5.51),
            (10, 0.95, 2.23),
            (20, 0.99, 2.85),
            (math.inf, 0.95, 1.960),
            (math.inf, 0.9545, 2.000),
        ],
    )
    def test_table_of_the_guide(self, dof: float, level: float, k: float) -> None:
        assert coverage_factor(dof, level) == pytest.approx(k, abs=0.0051)

    @pytest.mark.parametrize(("dof", "level"), [(0, 0.95), (-1, 0.95), (math.nan, 0.95), (5, 0), (5, 1)])
    def test_refuses(self, dof: float, level: float) -> None:
        with pytest.raises(ValueError, match=r"degrees of freedom|coverage"):
            coverage_factor(dof, level)


class TestFormat:
    @pytest.mark.parametrize(
        ("measured", "digits", "text"),
        [
            (Measured(34.23, 0.8, "L*"), 1, "34.2 ± 1.6"),
            (Measured(-2.0, 0.5), 1, "\u22122.0 ± 1.0"),
            (Measured(-0.01, 0.5), 1, "0.0 ± 1.0"),
            (Measured(-0.0, 0.5), 0, "0 ± 1"),
            (Measured(5.0, 0.01), 1, "5.0 ± < 0.1"),
            (Measured(5.0, 0.0), 2, "5.00 ± < 0.01"),
            (Measured(5.0, 0.1), 0, "5 ± < 1"),
            (Measured(5.0, 1.0, "", 1.0), 1, "5.0 ± 12.7"),
        ],
    )
    def test_text(self, measured: Measured, digits: int, text: str) -> None:
        assert format_measured(measured, digits) == text

    def test_unit(self) -> None:
        assert format_measured(Measured(6.2, 0.2, "level"), with_unit=True) == "6.2 ± 0.4 level"
        assert format_measured(Measured(6.2, 0.2), with_unit=True) == "6.2 ± 0.4"

    @given(st.floats(-1e6, 1e6), st.floats(0, 1e3), st.integers(0, 4))
    def test_same_digits_on_both_sides_and_never_minus_nothing(self, value: float, u: float, digits: int) -> None:
        number, half_width = format_measured(Measured(value, u), digits).split(" ± ")
        assert "-" not in number
        assert number != f"\u2212{0:.{digits}f}"
        assert len(number.partition(".")[2]) == len(half_width.partition(".")[2]) == digits
        assert float(half_width.removeprefix("< ")) > 0


class TestHotelling:
    # Stata's `mvtest means` on the mileage of 12 cars with and without a fuel additive, as quoted with
    # data and results in the tests of statsmodels (stats/tests/test_multivariate.py, test_mvmean)
    TREATED = np.array(
        [
            [24.0, 23.5],
            [25.0, 24.5],
            [21.0, 20.5],
            [22.0, 20.5],
            [23.0, 22.5],
            [18.0, 16.5],
            [17.0, 16.5],
            [28.0, 27.5],
            [24.0, 23.5],
            [27.0, 25.5],
            [21.0, 20.5],
            [23.0, 22.5],
        ]
    )
    PLAIN = np.array(
        [
            [20.0, 19.0],
            [23.0, 22.0],
            [21.0, 20.0],
            [25.0, 24.0],
            [18.0, 17.0],
            [17.0, 16.0],
            [18.0, 17.0],
            [24.0, 23.0],
            [20.0, 19.0],
            [24.0, 22.0],
            [23.0, 22.0],
            [19.0, 18.0],
        ]
    )

    def test_paired_means_of_stata(self) -> None:
        difference = self.TREATED - self.PLAIN
        p = hotelling(difference.mean(axis=0), np.cov(difference.T) / 12, 11)
        assert p == pytest.approx(0.0423949782937231, rel=1e-9)

    def test_one_sample_of_stata(self) -> None:
        both = np.vstack([self.TREATED, self.PLAIN])
        p = hotelling(both.mean(axis=0) - 21.0, np.cov(both.T) / 24, 23)
        assert p == pytest.approx(1.25062334808e-09, rel=1e-6)

    def test_ten_babies(self) -> None:
        # Armitage & Berry 2002, Statistical Methods in Medical Research, example 13.3: four variables,
        # ten babies, T² 7.4391, F(4, 6) 1.2398, P 0.3869 (as printed in the guide of a statistics package)
        assert hotelling([math.sqrt(7.4391), 0, 0, 0], np.eye(4), 9) == pytest.approx(0.3869, abs=5e-5)

    def test_known_covariance_is_chi_squared(self) -> None:
        # 7.815 is the 95 % point of chi-squared with three degrees of freedom (any table)
        assert hotelling([math.sqrt(7.815), 0.0, 0.0], np.eye(3), math.inf) == pytest.approx(0.05, abs=2e-5)

    def test_one_component_is_the_t_test(self) -> None:
        # table G.2 of JCGM 100:2008: t 2.23 at 10 degrees of freedom leaves 5 %
        assert hotelling([2.228], [[1.0]], 10) == pytest.approx(0.05, abs=1e-4)

    def test_agrees_with_the_distributions_of_scipy(self) -> None:
        from scipy import stats

        delta, cov, dof = np.array([1.0, -0.4, 0.7]), np.array([[0.4, 0.1, 0.0], [0.1, 0.3, 0.1], [0, 0.1, 0.5]]), 7.5
        t_squared = delta @ np.linalg.inv(cov) @ delta
        expected = stats.f.sf(t_squared * (dof - 2) / (3 * dof), 3, dof - 2)
        assert hotelling(delta, cov, dof) == pytest.approx(expected, rel=1e-9)

    @pytest.mark.parametrize("dof", [0.5, 1.0, 2.0])
    def test_too_few_repeats_claim_nothing(self, dof: float) -> None:
        assert hotelling([100.0, 100.0, 100.0], np.eye(3), dof) == 1.0

    def test_singular_covariance_is_tested_where_it_has_spread(self) -> None:
        # the second component repeats the first: one test, not two
        assert hotelling([2.228, 2.228], [[1.0, 1.0], [1.0, 1.0]], 10) == pytest.approx(0.05, abs=1e-4)

    def test_a_difference_without_spread_is_certain(self) -> None:
        assert hotelling([1.0, -1.0], [[1.0, 1.0], [1.0, 1.0]], 10) == 0.0
        assert hotelling([0.0, 0.3], [[1.0, 0.0], [0.0, 0.0]], 10) == 0.0

    def test_nothing_against_nothing(self) -> None:
        assert hotelling([0.0, 0.0], np.zeros((2, 2)), 10) == 1.0

    def test_false_alarms_come_as_often_as_stated(self) -> None:
        rng = np.random.default_rng(8)
        cov = np.array([[0.64, 0.1, 0.0], [0.1, 0.12, 0.05], [0.0, 0.05, 0.2]])
        alarms = 0
        for _ in range(2000):
            photos = rng.multivariate_normal([0, 0, 0], cov, size=8)
            alarms += hotelling(photos.mean(axis=0), np.cov(photos.T) / 8, 7) < 0.05
        # 5 % of 2000 with a binomial standard deviation of 0.5 %
        assert 0.035 < alarms / 2000 < 0.065

    @given(st.floats(0.01, 100), st.floats(0.01, 100))
    def test_does_not_depend_on_the_units(self, first: float, second: float) -> None:
        scale = np.array([first, second])
        delta, cov = np.array([1.0, 0.6]), np.array([[0.5, 0.2], [0.2, 0.3]])
        expected = hotelling(delta, cov, 9)
        assert hotelling(delta * scale, cov * np.outer(scale, scale), 9) == pytest.approx(expected, rel=1e-9)

    @pytest.mark.parametrize(("delta", "dof"), [([1.0, math.nan], 5.0), ([1.0, 1.0], 0.0), ([1.0], 5.0)])
    def test_refuses(self, delta: list[float], dof: float) -> None:
        with pytest.raises(ValueError, match=r"finite|degrees|covariance"):
            hotelling(delta, np.eye(2), dof)
