"""Verdicts: how often they are right when the truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import ncx2

from tracker.change import CANNOT_TELL, CHANGED, NO_CHANGE, Scatter, compare
from tracker.colorimetry import delta_e_2000
from tracker.quantities import LabMeasured, Measured, matrix3

AT = (42.0, 8.0, 20.0)


def colour(lab: tuple[float, ...], sd: tuple[float, float, float], dof: float = np.inf) -> LabMeasured:
    return LabMeasured((lab[0], lab[1], lab[2]), matrix3(np.diag(np.square(sd))), dof)


def judge(delta: tuple[float, ...], sd: tuple[float, float, float] = (0.8, 0.35, 0.45), dof: float = np.inf) -> str:
    warmth = Measured(delta[2], float(np.hypot(sd[2], sd[2])), "", dof)
    after = tuple(np.add(AT, delta))
    return compare(colour(AT, sd, dof), colour(after, sd, dof), warmth, np.random.default_rng(1), Scatter(0.8)).verdict


def test_false_changes_stay_at_five_per_cent_and_true_ones_are_found_as_often_as_can_be() -> None:
    rng = np.random.default_rng(7)
    sd = (0.8, 0.35, 0.45)
    noise = rng.normal(size=(2000, 2, 3)) * sd
    wrong = sum(judge(tuple(pair[1] - pair[0]), sd) == CHANGED for pair in noise) / 2000
    assert 0.035 <= wrong <= 0.06
    # power of a chi-squared test with three degrees of freedom, by scipy's noncentral distribution
    shifted = noise[:, 1] - noise[:, 0] + [3.0, 0, 0]
    expected = float(ncx2.sf(7.815, 3, (3.0 / (0.8 * np.sqrt(2))) ** 2))
    assert np.mean([judge(tuple(row), sd) == CHANGED for row in shifted]) == pytest.approx(expected, abs=0.04)


def test_a_size_above_one_is_not_a_test() -> None:
    # with isotropic noise of 0.8 and no change at all, the difference exceeds 1 most of the time; the verdict does not
    noise = np.random.default_rng(3).normal(size=(400, 2, 3)) * 0.8
    delta = noise[:, 1] - noise[:, 0]
    assert np.mean(delta_e_2000(np.add(AT, delta), AT) > 1) > 0.5
    assert np.mean([judge(tuple(d), (0.8, 0.8, 0.8)) == CHANGED for d in delta]) < 0.09


def test_three_verdicts() -> None:
    assert judge((6.0, 0.5, 1.0)) == CHANGED
    assert judge((0.1, 0.0, 0.1), (0.3, 0.2, 0.2)) == NO_CHANGE
    assert judge((0.1, 0.0, 0.1), (2.0, 0.5, 0.8)) == CANNOT_TELL


def test_photos_needed_follow_the_published_formula() -> None:
    wide = compare(
        colour(AT, (2.0, 0.5, 0.8)),
        colour(AT, (2.0, 0.5, 0.8)),
        Measured(0, 1.1),
        np.random.default_rng(1),
        Scatter(2.0),
    )
    # n >= 2 (1.96 s / margin)^2; the margin is 1.8 dE00 (Paravina et al. 2015) along L* at L* 42: S_L = 1.105
    assert wide.photos_needed == int(np.ceil(2 * (1.96 * 2.0 / (1.8 * 1.1047)) ** 2))
    alike = compare(
        colour(AT, (2.0, 0.5, 0.8)), colour(AT, (2.0, 0.5, 0.8)), Measured(0, 1.1), np.random.default_rng(1), None
    )
    assert alike.verdict == CANNOT_TELL
    assert alike.photos_needed is None


def test_photos_needed_count_on_from_those_there_are_and_know_what_more_cannot_do() -> None:
    def needed(scatter: Scatter) -> int | None:
        sides = colour(AT, (2.0, 0.5, 0.8)), colour(AT, (2.0, 0.5, 0.8))
        return compare(*sides, Measured(0, 1.1), np.random.default_rng(1), scatter).photos_needed

    assert needed(Scatter(0.1, photos=3)) == 4
    # margin as above; what occasions differ by takes its share of it: n >= s² / ((margin / 1.96)² / 2 - shared²)
    room = (1.8 * 1.1047 / 1.96) ** 2 / 2
    assert needed(Scatter(2.0, 0.5)) == int(np.ceil(4.0 / (room - 0.25)))
    assert needed(Scatter(2.0, 0.9)) is None


def test_few_degrees_of_freedom_ask_for_more() -> None:
    assert judge((3.5, 0.6, 0.6)) == CHANGED
    assert judge((3.5, 0.6, 0.6), dof=4) != CHANGED


@given(st.floats(0.05, 2), st.tuples(st.floats(-8, 8), st.floats(-5, 5), st.floats(-5, 5)))
def test_interval_of_the_size_holds_together(sd: float, delta: tuple[float, float, float]) -> None:
    after = tuple(np.add(AT, delta))
    change = compare(
        colour(AT, (sd,) * 3), colour(after, (sd,) * 3), Measured(delta[2], sd), np.random.default_rng(2), Scatter(sd)
    )
    assert 0 <= change.size.low <= change.size.high
    assert change.size.value <= change.size.high + 1e-6
    assert change.size.value == pytest.approx(float(delta_e_2000(AT, after)))
    np.testing.assert_allclose(change.u, np.sqrt(2) * sd)
    assert not (change.lightness and change.verdict != CHANGED)
