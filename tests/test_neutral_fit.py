"""What counts as neutral: the studio's own natural hair, only as far as its swatches reach."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.calibrate.neutral_fit import fit_locus
from tracker.calibrate.warmth import (
    DEFAULT_LOCUS,
    JOIN,
    NeutralLocus,
    estimate_warmth,
    warmth_change,
    warmth_value,
)
from tracker.errors import CannotCalibrate
from tracker.maths.quantities import LabMeasured, matrix3


def lab(lightness: float, a: float, b: float, u: float = 0.5) -> LabMeasured:
    return LabMeasured((lightness, a, b), matrix3(np.eye(3) * u * u))


def own(steps: dict[float, tuple[float, float]]) -> NeutralLocus:
    """From swatches that lie so far from published hair."""
    rows = []
    for lightness, step in steps.items():
        a, b = DEFAULT_LOCUS.at(lightness)
        rows.append((f"{lightness:g}", lab(lightness, a + step[0], b + step[1])))
    return fit_locus(rows, "own")


def test_own_natural_hair_is_neutral_between_its_swatches_and_published_hair_beyond() -> None:
    locus = own({28.0: (1.0, 3.0), 40.0: (1.0, 3.0), 56.0: (1.0, 3.0)})
    for lightness in (28.0, 35.0, 44.1, 56.0):
        a, b = DEFAULT_LOCUS.at(lightness)
        assert locus.at(lightness) == pytest.approx((a + 1.0, b + 3.0), abs=0.4)
        assert abs(estimate_warmth(lab(lightness, a + 1.0, b + 3.0), locus).value.value) < 0.4
    for lightness in (18.37, 21.55, 66.3, 77.2):
        assert locus.at(lightness) == pytest.approx(DEFAULT_LOCUS.at(lightness), abs=1e-6)
        assert locus.uncertainty(lightness) == pytest.approx(DEFAULT_LOCUS.uncertainty(lightness))
    for lightness in np.linspace(62, 77, 18):
        assert locus.at(lightness) == pytest.approx(DEFAULT_LOCUS.at(lightness), abs=0.35)
    assert locus.own == (28.0, 56.0)


@given(st.floats(12, 40), st.floats(8.1, 40), st.integers(-4, 4), st.integers(-8, 8))
def test_published_hair_counts_a_few_l_beyond_the_swatches_wherever_they_end(
    low: float, span: float, a: int, b: int
) -> None:
    high = low + span
    locus = own({low: (a, b), (low + high) / 2: (a, b), high: (a, b)})
    for lightness in (low - 20, low - JOIN - 3, low - JOIN, high + JOIN, high + JOIN + 3, high + 20):
        # between two published rows the join is one more point of the same curve, which bends it a little
        assert locus.at(lightness) == pytest.approx(DEFAULT_LOCUS.at(lightness), abs=1.0)
        assert locus.uncertainty(lightness) == pytest.approx(
            max(DEFAULT_LOCUS.uncertainty(lightness), locus.u_own), rel=1e-6
        )


@pytest.mark.parametrize(("low", "high", "lightness"), [(22.9, 56.0, 17.0), (28.0, 73.0, 80.0)])
def test_hair_of_published_colour_is_neutral_where_published_rows_end_beside_the_swatches(
    low: float, high: float, lightness: float
) -> None:
    locus = own({low: (1.0, 6.0), 40.0: (1.0, 6.0), high: (1.0, 6.0)})
    published = lab(lightness, *DEFAULT_LOCUS.at(lightness))
    assert estimate_warmth(published, locus).value.value == pytest.approx(0.0, abs=0.05)
    # and black hair, within the five L* over which both go over into one another, no longer reads as dyed ashen
    black = estimate_warmth(lab(18.4, *DEFAULT_LOCUS.at(18.4)), locus)
    assert abs(black.value.value) < 1.5


def test_a_step_that_changes_with_lightness_is_followed() -> None:
    locus = own({28.0: (0.0, 1.0), 40.0: (0.0, 2.2), 48.0: (0.0, 3.0), 58.0: (0.0, 4.0)})
    assert locus.at(36.9)[1] == pytest.approx(DEFAULT_LOCUS.at(36.9)[1] + 1.89, abs=0.05)


def test_scattered_swatches_are_less_sure() -> None:
    close = own({28.0: (0.0, 1.0), 40.0: (0.0, 1.0), 48.0: (0.0, 1.0), 58.0: (0.0, 1.0)})
    apart = own({28.0: (0.0, 6.0), 40.0: (0.0, -6.0), 48.0: (0.0, 6.0), 58.0: (0.0, -4.0)})
    assert close.u_own < DEFAULT_LOCUS.u < apart.u_own
    wide = estimate_warmth(lab(45.0, 5.0, 20.0), apart).value.u
    assert wide > estimate_warmth(lab(45.0, 5.0, 20.0), close).value.u


def test_a_change_between_own_and_published_hair_keeps_both_doubts() -> None:
    locus = own({28.0: (1.0, 3.0), 40.0: (1.0, 3.0), 56.0: (1.0, 3.0)})
    change = warmth_change(lab(40.0, 6.0, 20.0, 0.0), lab(77.0, 1.0, 12.0, 0.0), locus)
    # GUM 5.1.2: 37 L* apart next to nothing is shared
    assert change.u == pytest.approx(np.hypot(locus.uncertainty(40.0), locus.uncertainty(77.0)), rel=0.03)


@given(st.lists(st.tuples(st.floats(15, 75), st.floats(-8, 8), st.floats(-8, 8)), min_size=3, max_size=9))
def test_the_locus_is_a_function_of_lightness_whatever_the_swatches(rows: list[tuple[float, float, float]]) -> None:
    try:
        locus = own({lightness: (a, b) for lightness, a, b in rows})
    except CannotCalibrate:
        return
    knots = np.array(locus.knots)
    assert np.all(np.diff(knots[:, 0]) > 0)
    colours = np.array([[lightness, 5.0, 15.0] for lightness in np.linspace(10, 90, 30)])
    found = [warmth_value(colour, locus) for colour in colours]
    assert np.all(np.isfinite(found))
    np.testing.assert_allclose(warmth_value(colours, locus), found, atol=1e-9)


@pytest.mark.parametrize(
    ("steps", "says"),
    [
        ({30.0: (0.0, 0.0), 50.0: (0.0, 0.0)}, "at least 3 swatches"),
        ({30.0: (0.0, 0.0), 32.0: (0.0, 0.0), 34.0: (0.0, 0.0)}, "within 4.0 L"),
        ({30.0: (0.0, 0.0), 40.0: (0.0, 0.0), 50.0: (14.0, 10.0)}, "from published natural hair"),
    ],
)
def test_what_is_no_natural_hair_is_refused(steps: dict[float, tuple[float, float]], says: str) -> None:
    with pytest.raises(CannotCalibrate, match=says) as caught:
        own(steps)
    assert caught.value.advice
