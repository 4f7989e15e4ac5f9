"""Scatter between photos of the same hair: the smallest change that the program itself calls real."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.test_replicates import ALONE, AT, photos, reading, region
from tracker.compare.comparison import compare_readings
from tracker.compare.replicates import mean_of_replicates
from tracker.maths.quantities import LabMeasured, matrix3
from tracker.measure.reading import RIBBON, WHOLE, PhotoReading
from tracker.measure.repeatability import PROVISIONAL, Repeatability, lightness_u

KNOWN = Repeatability("known", (0.8, 0.5, 0.6), math.inf, False, "test", shared_dof=math.inf)


def state(lightness: float, n: int, spread: Repeatability, light: float) -> PhotoReading:
    """Photos of one state whose scatter is exactly what is known, under light that may differ by so much."""
    lit = np.diag([light**2, 0.0, 0.0])
    cov = lit + np.diag(np.square(spread.sd))
    at = (lightness, *AT[1:])
    one = replace(
        region(at, spread.sd, spread.dof),
        lab=LabMeasured(at, matrix3(cov + ALONE), spread.dof),
        repeat_cov=matrix3(cov),
        light_cov=matrix3(lit),
    )
    found = mean_of_replicates([reading(one)] * n, spread)
    # photos that are alike to the last digit would pass for less scatter than is known
    band = found.regions[0]
    repeat = lit + np.diag(np.square(spread.sd)) / n
    exact = replace(band, repeat_cov=matrix3(repeat), lab=LabMeasured(at, matrix3(repeat + ALONE), spread.dof))
    return replace(found, regions=(exact,))


@pytest.mark.parametrize("photos_each", [1, 2, 3, 6])
@pytest.mark.parametrize("light", [0.0, 1.1])
def test_it_is_the_difference_that_the_answer_begins_to_call_lighter(photos_each: int, light: float) -> None:
    limit = KNOWN.smallest_change(photos_each, light)

    def answer(change: float) -> str:
        sides = state(AT[0], photos_each, KNOWN, light), state(AT[0] + change, photos_each, KNOWN, light)
        return compare_readings(*sides, same_kit=True, repeatability=KNOWN)[0].lightness.says

    # the camera's rendering of a difference takes a little more
    assert answer(1.1 * limit) == "lighter"
    assert answer(0.99 * limit) != "lighter"
    assert answer(-1.1 * limit) == "darker"


def test_single_photos_by_hand() -> None:
    # 2.77 times the standard deviation of one photo (Bland and Altman 1996, BMJ 312:1654)
    assert KNOWN.smallest_change() == pytest.approx(2.77 * 0.8, rel=1e-3)
    assert KNOWN.smallest_change(4) == pytest.approx(KNOWN.smallest_change() / 2)


@given(st.integers(1, 12), st.floats(0, 2), st.floats(0.0, 1.0))
def test_more_photos_never_cost_and_never_beat_what_they_share(n: int, light: float, part: float) -> None:
    spread = replace(KNOWN, shared=(part * 0.8, 0.0, 0.0))
    now, then = spread.smallest_change(n, light), spread.smallest_change(n + 1, light)
    assert then <= now + 1e-9
    # 1.96 times the square root of two, of what an occasion shares; light counts for a little less than allowed for
    assert then >= 2.77 * max(math.sqrt(0.8) * light, part * 0.8)


def test_light_that_each_photo_has_anew_averages_out() -> None:
    # larger than the spread from photo to photo, 0.8, so it stands in its place; the spread has the same causes
    assert KNOWN.smallest_change(own_light=1.6) == pytest.approx(2 * KNOWN.smallest_change())
    assert KNOWN.smallest_change(4, own_light=1.6) == pytest.approx(KNOWN.smallest_change())
    assert KNOWN.smallest_change(own_light=0.5) == KNOWN.smallest_change()
    # one EV is a factor of two: L* = 116 Y^(1/3) - 16 (CIE 15) changes by (L* + 16) / 3 for a relative change of one
    step = 1e-4
    by_hand = (116 * (0.18 * 2**step) ** (1 / 3) - 116 * 0.18 ** (1 / 3)) / step
    assert lightness_u(116 * 0.18 ** (1 / 3) - 16, 1.0) == pytest.approx(by_hand, rel=1e-3)


def test_a_check_counts_for_photos_read_in_its_own_way() -> None:
    own = replace(KNOWN, provisional=False)
    assert (own.hair, own.over(RIBBON), own.over(WHOLE)) == (RIBBON, own, PROVISIONAL)
    whole = replace(own, hair=WHOLE)
    assert (whole.over(WHOLE), whole.over(RIBBON)) == (whole, PROVISIONAL)
    assert PROVISIONAL.over(WHOLE) is PROVISIONAL.over(RIBBON) is PROVISIONAL


def test_light_by_hand() -> None:
    # 0.15 EV either way, rectangular: 0.0866 EV, 6.2 % of the light; L* = 116 Y^(1/3) - 16 gives (L* + 16) / 3 of it
    assert lightness_u(40.0, 0.15 / math.sqrt(3)) == pytest.approx(0.15 / math.sqrt(3) * math.log(2) * 56 / 3)
    assert lightness_u(40.0, 0.0) == 0.0


def test_few_degrees_of_freedom_cost() -> None:
    few = replace(KNOWN, dof=6.0)
    # Student's t with 6 degrees of freedom and with none spared, 95 %: 2.45 and 1.96 (GUM table G.2)
    assert few.smallest_change() / KNOWN.smallest_change() == pytest.approx(2.45 / 1.96, rel=2e-3)


def test_provisional_says_so() -> None:
    assert PROVISIONAL.provisional
    assert "Scanavez et al. 2000" in PROVISIONAL.source


def test_the_provisional_spread_lies_within_what_was_published() -> None:
    # Scanavez et al. 2000, J Cosmet Sci 51:289-302: dark hair put back under an instrument, one standard deviation:
    # L* 0.31 to 1.19 by the size of the patch, a* 0.17 to 0.33, b* 0.38 to 0.42; a photo's a* and b* are no surer
    lightness, a, b = PROVISIONAL.sd
    assert 0.7 <= lightness <= 1.19
    assert 0.33 <= a <= 3 * 0.33
    assert 0.42 <= b <= 3 * 0.42
    assert (lightness, a, b) == (0.8, 0.5, 0.6)  # what every reading of this version rests on


def test_what_one_visit_shares_does_not_shrink_in_a_state() -> None:
    # rendering apart, forty photos under one light are as unsure as that light
    lit = np.diag([1.2, 0.1, 0.2])
    shots = []
    for band in (shot.regions[0] for shot in photos(np.repeat(AT[None], 40, axis=0))):
        cov = matrix3(np.asarray(band.repeat_cov) + lit)
        whole = LabMeasured(band.lab.lab, matrix3(np.asarray(cov) + ALONE), band.lab.dof)
        shots.append(reading(replace(band, lab=whole, repeat_cov=cov, light_cov=matrix3(lit))))
    found = mean_of_replicates(shots, PROVISIONAL).regions[0]
    np.testing.assert_allclose(np.diag(found.repeat_cov), np.diag(lit), atol=0.03)
    np.testing.assert_allclose(found.light_cov, lit)
