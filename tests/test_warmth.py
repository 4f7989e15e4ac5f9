"""Warmth against the neutral locus."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.calibrate.warmth import (
    DEFAULT_LOCUS,
    estimate_warmth,
    possible_undertones,
    undertone,
    warmth_change,
    warmth_gradient,
    warmth_value,
)
from tracker.maths.colorimetry import linear_to_lab
from tracker.maths.quantities import LabMeasured, matrix3
from tracker.said.colour import say_warmth


def measured(lab: tuple[float, float, float], u: float = 0.5) -> LabMeasured:
    return LabMeasured(lab, matrix3(np.eye(3) * u * u))


# Chiang et al. 2016, doi 10.1111/cgf.12830, as coded in pbrt-v3: albedo exp(-D sqrt(sigma)) with D(0.3) = 5.888 and
# the eumelanin constants (0.419, 0.697, 1.37), beside a 2 % neutral surface term (black hair, specular excluded, has
# L* 18, Scanavez 2000): computed here from the formula, independently of the table of knots
@pytest.mark.parametrize("eumelanin", [0.5, 0.3, 0.2, 0.1, 0.05, 0.02])
def test_locus_follows_the_published_melanin_model(eumelanin: float) -> None:
    albedo = np.exp(-5.888 * np.sqrt(eumelanin * np.array([0.419, 0.697, 1.37])))
    lab = linear_to_lab(0.02 + 0.98 * albedo)
    assert DEFAULT_LOCUS.at(float(lab[0])) == pytest.approx((lab[1], lab[2]), abs=0.15)


# Scanavez et al. 2000, Tables III, IV and VIII: dark brown and black hair are neutral by definition of the locus
@pytest.mark.parametrize(
    "lab", [(23.04, 4.04, 4.72), (22.48, 4.10, 5.13), (23.59, 3.87, 4.76), (18.37, -0.05, -0.84), (21.55, 1.73, 1.67)]
)
def test_published_natural_hair_is_neutral(lab: tuple[float, float, float]) -> None:
    assert abs(warmth_value(lab)) < 2.0
    assert estimate_warmth(measured(lab)).tone == "neutral"


@given(st.floats(12, 80), st.floats(-20, 20))
def test_warmth_is_the_distance_along_the_locus_direction(lightness: float, away: float) -> None:
    a, b = DEFAULT_LOCUS.at(lightness)
    da, db = DEFAULT_LOCUS.direction(lightness)
    assert np.hypot(da, db) == pytest.approx(1)
    assert warmth_value((lightness, a + away * da, b + away * db)) == pytest.approx(away, abs=1e-9)
    # a step across that direction is another hue, not warmth
    assert warmth_value((lightness, a - away * db, b + away * da)) == pytest.approx(0, abs=1e-9)


def test_tone_words_follow_the_interval() -> None:
    a, b = DEFAULT_LOCUS.at(55.0)
    da, db = DEFAULT_LOCUS.direction(55.0)
    for away, tone in ((6.0, "warm"), (-6.0, "cool"), (1.0, "neutral")):
        reading = estimate_warmth(measured((55.0, a + away * da, b + away * db)))
        assert reading.tone == tone
        assert reading.value.value == pytest.approx(away, abs=1e-6)
        assert reading.value.u >= DEFAULT_LOCUS.u
    assert say_warmth(estimate_warmth(measured((55.0, a + 6 * da, b + 6 * db)))).startswith("warm, +6.0 ± ")


def test_change_between_like_lightnesses_drops_the_locus_and_keeps_the_colours() -> None:
    before, after = measured((55.0, 8.0, 22.0)), measured((55.0, 4.0, 20.0))
    change = warmth_change(before, after)
    assert change.value == pytest.approx(warmth_value(after.lab) - warmth_value(before.lab))
    expected = np.sqrt(sum(0.25 * np.square(warmth_gradient(m.lab)).sum() for m in (before, after)))
    assert change.u == pytest.approx(expected)


def test_change_from_dark_to_light_keeps_both_errors_of_the_locus() -> None:
    sure = warmth_change(measured((21.0, 5.0, 8.0), 0.0), measured((60.0, 4.0, 20.0), 0.0))
    # 39 L* apart, next to nothing is shared: both uncertainties in quadrature (GUM 5.1.2)
    assert sure.u == pytest.approx(np.hypot(DEFAULT_LOCUS.u_dark, DEFAULT_LOCUS.u), rel=0.02)


# names: common practice, no source; the colours are of their own making
@pytest.mark.parametrize(
    ("lab", "family"),
    [
        ((25, 14, 8), "red"),
        ((35, 18, 22), "red-orange"),
        ((45, 16, 30), "orange"),
        ((58, 10, 34), "yellow-orange"),
        ((65, 3, 34), "yellow"),
        ((78, 1, 24), "pale yellow"),
        ((40, 0.3, 0.4), None),
        ((50, -8, -10), None),
        ((50, 0, 0), None),
    ],
)
def test_undertone_families(lab: tuple[float, float, float], family: str | None) -> None:
    assert undertone(measured(lab)) == family


def test_undertone_needs_a_chroma_that_clears_its_uncertainty() -> None:
    assert undertone(measured((45, 4, 7), u=1.0)) is not None
    assert undertone(measured((45, 4, 7), u=5.0)) is None


# hue 64 degrees, 2 short of where yellow-orange begins: how far the interval reaches is 1.96 u / chroma
@pytest.mark.parametrize(
    ("u", "names"),
    [(0.1, ("orange",)), (0.6, ("orange", "yellow-orange")), (3.0, ()), (9.0, ())],
)
def test_an_undertone_is_named_as_surely_as_the_hue_is_known(u: float, names: tuple[str, ...]) -> None:
    lab = measured((30.0, 15 * np.cos(np.radians(64)), 15 * np.sin(np.radians(64))), u)
    assert possible_undertones(lab) == names
    assert estimate_warmth(lab).undertones == names


def test_a_wide_interval_from_few_photos_says_less() -> None:
    surely = measured((30.0, 6.6, 13.7), 0.2)
    few = LabMeasured(surely.lab, surely.cov, dof=1.0)
    assert possible_undertones(surely) == ("orange",)
    assert possible_undertones(few) == ()


def test_yellow_and_pale_yellow_are_told_apart_by_the_interval_of_lightness() -> None:
    for lightness, names in ((68.0, ("yellow",)), (69.5, ("yellow", "pale yellow")), (72.0, ("pale yellow",))):
        assert possible_undertones(measured((lightness, 1.0, 30.0))) == names


def test_beyond_the_named_hues_nothing_is_said() -> None:
    # 108 degrees, 2 short of the end of yellow
    lab = measured((75.0, -6.2, 19.0), 1.0)
    assert undertone(lab) == "pale yellow"
    assert possible_undertones(lab) == ()
