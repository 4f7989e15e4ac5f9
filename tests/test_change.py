"""Verdicts: how often they are right when the truth is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import ncx2

from tracker.compare import change as verdicts
from tracker.compare.change import CANNOT_TELL, CHANGED, NO_CHANGE, Change, Scatter, compare
from tracker.maths.colorimetry import delta_e_2000
from tracker.maths.quantities import LabMeasured, Measured, matrix3

AT = (42.0, 8.0, 20.0)


def colour(lab: tuple[float, ...], sd: tuple[float, float, float], dof: float = np.inf) -> LabMeasured:
    return LabMeasured((lab[0], lab[1], lab[2]), matrix3(np.diag(np.square(sd))), dof)


def judge(delta: tuple[float, ...], sd: tuple[float, float, float] = (0.8, 0.35, 0.45), dof: float = np.inf) -> str:
    warmth = Measured(delta[2], float(np.hypot(sd[2], sd[2])), "", dof)
    after = tuple(np.add(AT, delta))
    return compare(colour(AT, sd, dof), colour(after, sd, dof), warmth, np.random.default_rng(1), None).verdict


def judge_whole(delta: tuple[float, ...], sd: tuple[float, float, float], scatter: Scatter | None) -> Change:
    warmth = Measured(delta[2], float(np.hypot(sd[2], sd[2])))
    return compare(colour(AT, sd), colour(tuple(np.add(AT, delta)), sd), warmth, np.random.default_rng(1), scatter)


@pytest.fixture
def rough_sizes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few draws for the interval of the size, on which no verdict rests: thousands of verdicts take seconds less."""
    monkeypatch.setattr(verdicts, "_DRAWS", 20)


@pytest.mark.usefixtures("rough_sizes")
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


@pytest.mark.usefixtures("rough_sizes")
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


@pytest.mark.parametrize("at", [(22.0, 0.0, 9.0), (42.0, 2.0, 20.0), (82.0, 5.0, 40.0)])
def test_no_change_is_said_only_where_less_than_an_accepted_difference_is_left(at: tuple[float, float, float]) -> None:
    # half of observers accept a ΔE00 of 1.8 (Paravina et al. 2015); what that is in L* and in chroma, by CIEDE2000
    chroma = np.array([0.0, *at[1:]]) / np.hypot(*at[1:])
    steps = [1.8 / float(delta_e_2000(np.subtract(at, way / 2), np.add(at, way / 2))) for way in (np.eye(3)[0], chroma)]

    def verdict(u_lightness: float, u_warmth: float) -> str:
        each = colour(at, (u_lightness / math.sqrt(2), 0.01, 0.01))
        return compare(each, each, Measured(0.0, u_warmth), np.random.default_rng(1), None).verdict

    # two one-sided tests at 5 %: the 90 % interval, 1.645 standard uncertainties either way, lies inside (Schuirmann)
    for share, expected in ((0.95, NO_CHANGE), (1.05, CANNOT_TELL)):
        assert verdict(share * steps[0] / 1.645, 0.01) == expected
        assert verdict(0.01, share * steps[1] / 1.645) == expected


def test_as_many_photos_as_are_asked_for_settle_it_and_fewer_do_not() -> None:
    def at(photos: int, lightness: float, shared: float) -> Change:
        # what occasions share stays, the rest goes with the number of photos
        single = math.sqrt(1.6**2 - shared**2)
        left = math.sqrt((shared**2 + single**2 / photos) / 1.6**2)
        return judge_whole((lightness, 0.0, 0.0), (1.6 * left, 0.5 * left, 0.8 * left), Scatter(single, shared, photos))

    for lightness, shared in ((3.0, 0.0), (4.5, 0.0), (0.3, 0.0), (3.4, 0.8)):
        needed = at(1, lightness, shared).photos_needed
        assert needed is not None
        assert needed > 1
        assert at(needed, lightness, shared).verdict != CANNOT_TELL
        assert at(needed - 1, lightness, shared).verdict == CANNOT_TELL
        assert at(needed - 1, lightness, shared).photos_needed == needed


def test_photos_are_not_asked_for_where_they_would_not_help() -> None:
    sd = (1.6, 0.5, 0.8)
    assert judge_whole((3.0, 0.0, 0.0), sd, None).photos_needed is None
    assert judge_whole((1.5, 0.0, 0.0), sd, Scatter(0.2, 1.58)).photos_needed is None
    assert judge_whole((9.0, 0.0, 0.0), sd, Scatter(1.6)).photos_needed is None  # settled


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
