"""Tone that shade does not move: from the formula, from rendered heads, and against the neutral curve."""

from __future__ import annotations

from statistics import median

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.bench.heads.plates import MEAN, heads
from tracker.calibrate.tone import in_b, neutral_tone, tone_beside, tone_change, tone_gradient, tone_of
from tracker.maths.colorimetry import lab_to_linear, linear_to_lab
from tracker.maths.quantities import LabMeasured, matrix3
from tracker.maths.uncertainty import combined_u

COLOURS = st.tuples(st.floats(20, 85), st.floats(-5, 15), st.floats(2, 35))


def sure(lab: tuple[float, float, float]) -> LabMeasured:
    return LabMeasured(lab, matrix3(np.zeros((3, 3))))


@given(COLOURS, st.floats(0.6, 1.4))
def test_less_light_leaves_the_tone_as_it_is(lab: tuple[float, float, float], light: float) -> None:
    # CIELAB above its straight part (CIE 15): all of X, Y and Z times one factor
    shaded = linear_to_lab(lab_to_linear(lab) * light)
    if min(shaded[0], lab[0]) < 12:
        return
    _, _, z = np.linalg.solve(np.array([[0, 116, 0], [500, -500, 0], [0, 200, -200]]), [lab[0] + 16, *lab[1:]])
    if z * light ** (1 / 3) < 6 / 29 or z < 6 / 29:
        return
    assert tone_of(shaded) == pytest.approx(float(tone_of(lab)), abs=1e-6)


def test_what_an_unsure_exposure_does_to_lightness_and_b_cancels() -> None:
    lab = (34.0, 7.0, 17.0)
    slope = (linear_to_lab(lab_to_linear(lab) * 1.01) - linear_to_lab(lab_to_linear(lab) / 1.01)) / 2
    cov = np.outer(slope, slope)
    # GUM 5.2.2 with the correlation; the neutral curve does not move in the dark
    assert combined_u(tone_gradient(lab), cov) * 50 < 0.05 * np.sqrt(cov[2, 2])
    # without it, b* alone would count in full
    assert combined_u(tone_gradient(lab), np.diag(np.diag(cov))) * 50 > np.sqrt(cov[2, 2])


@given(COLOURS)
def test_the_gradient_is_that_of_the_change(lab: tuple[float, float, float]) -> None:
    step = 0.25
    for axis, expected in enumerate(tone_gradient(lab)):
        shift = tuple(float(x) for x in step * np.eye(3)[axis])
        first = tuple(float(x) for x in np.subtract(lab, shift))
        second = tuple(float(x) for x in np.add(lab, shift))
        change, _ = tone_change(sure(first), sure(second))  # type: ignore[arg-type]
        assert change / (2 * step) == pytest.approx(float(expected), abs=2e-5)


# Chiang et al. 2016, doi 10.1111/cgf.12830, as coded in pbrt-v3: albedo exp(-D sqrt(sigma)) with D(0.3) = 5.888 and the
# eumelanin constants (0.419, 0.697, 1.37), beside a 2 % neutral surface term (black hair has L* 18, Scanavez 2000)
@pytest.mark.parametrize("eumelanin", [0.3, 0.2, 0.1, 0.05, 0.02])
def test_neutral_follows_the_published_melanin_model(eumelanin: float) -> None:
    albedo = np.exp(-5.888 * np.sqrt(eumelanin * np.array([0.419, 0.697, 1.37])))
    lab = linear_to_lab(0.02 + 0.98 * albedo)
    assert float(neutral_tone(lab[0])) == pytest.approx(float(tone_of(lab)), abs=0.006)


def test_neutral_has_no_jump_and_no_corner() -> None:
    along = np.arange(5.0, 95.0, 0.1)
    slopes = np.diff(neutral_tone(along)) / 0.1
    assert np.abs(slopes).max() < 0.008  # in b* at L* 60: 0.6 for one L*
    inside = (along[:-2] > 15) & (along[:-2] < 76)
    assert np.abs(np.diff(slopes))[inside].max() < 1e-4


def test_an_undyed_head_keeps_its_tone_under_its_own_shade() -> None:
    # the rendered heads of one natural colour, their true means (tests/bench/heads/README.md): method 1 had 14 b*
    natural = [head for head in heads() if head.about["kind"] == "same natural"]
    assert len(natural) == 11
    to_ends, from_middle = [], []
    for head in natural:
        labs = np.array([head.truth(band, MEAN)[0] for band in ("root", "mid", "end")])
        root, mid, end = tone_beside(labs, float(labs[0, 0]))
        to_ends.append(abs(end - root))
        from_middle.append(abs(end - mid))
    assert max(to_ends) < 3.0
    assert median(from_middle) < 1.0
    assert max(from_middle) < 1.5  # the goal of 1 is missed by two heads


def test_bleached_hair_is_warmer_and_toned_hair_ashier() -> None:
    brown, orange, beige = sure((34.0, 6.5, 17.5)), sure((55.0, 14.0, 36.0)), sure((55.0, 5.0, 20.0))
    assert in_b(tone_change(brown, orange)[0], 45.0) > 10
    assert in_b(tone_change(orange, beige)[0], 55.0) == pytest.approx(-16.0)  # at one lightness simply b*
    # the doubt about the curve counts between distant levels, and hardly between close ones
    assert tone_change(beige, orange)[1] == 0.0
    assert 0.015 < tone_change(brown, orange)[1] < 0.0425
