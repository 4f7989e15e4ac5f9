"""What the camera's rendering does to hair: held against photos of known colour, published and simulated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.bench import chart_photos
from tests.scenes import card_of
from tracker.maths.colorimetry import lab_to_linear, linear_to_lab
from tracker.measure.balance import apply
from tracker.measure.camera_error import MISFIT_ALONE, CameraError, between, shifts, standing_alone
from tracker.measure.reading import DAYLIGHT, LAMPS, LIGHTS, NOT_NOTED, TUBES
from tracker.measure.reference_card import CARD_KINDS, CardReading, camera_error, correction_from_card
from tracker.measure.reference_card.kinds.chart24 import chart_reference

ALL = CameraError(0.08, 0.015, 0.1, 0.1, 1.0, 0.18)
TURNED = CameraError(0, 0, 0.1, 0.1, 1.0, 0.18)
CORNERS = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0))
hair = st.tuples(st.floats(8, 85), st.floats(-3, 25), st.floats(-3, 45))


def u(cov: np.ndarray) -> np.ndarray:
    return np.sqrt(np.diag(cov))


@pytest.mark.parametrize("grey", [0.18, 0.5, 0.9])
def test_the_cards_own_grey_is_moved_by_no_cause_but_the_tint(grey: float) -> None:
    size, lab = replace(ALL, grey=grey), linear_to_lab(np.full(3, grey))
    assert np.abs(shifts(lab, size)[:4]).max() < 1e-6
    assert u(standing_alone(lab, size)) == pytest.approx((0, 1, 1), abs=1e-6)


@pytest.mark.parametrize("grey", [0.18, 0.5, 0.9])
def test_a_camera_of_more_contrast_stays_within_what_is_claimed_of_any_card(grey: float) -> None:
    hair = linear_to_lab(np.full(3, 0.184))
    seen, card = (lab_to_linear(hair)) ** 1.16, np.full((1, 3), grey**1.16)  # two standard uncertainties
    reading = CardReading(CARD_KINDS["grey18"], CORNERS, card, np.zeros((1, 3, 3)), np.array([True]), 0.0, 0.0)
    error = linear_to_lab(apply(correction_from_card(reading, grey), seen)) - hair
    spread = u(standing_alone(hair, replace(camera_error(card_of("grey18", grey), DAYLIGHT), stray=0.0)))
    assert abs(error[0]) <= 2.1 * spread[0] + 1e-6
    assert abs(error[0]) >= 1.8 * spread[0]


@given(hair)
def test_between_two_photos_of_the_same_colour_all_of_it_cancels(lab: tuple[float, float, float]) -> None:
    assert np.abs(between(lab, lab, ALL)).max() == 0
    assert np.linalg.eigvalsh(standing_alone(lab, ALL)).min() >= -1e-9


@given(hair, hair)
def test_less_cancels_the_further_apart_the_colours_lie(one: tuple[float, ...], other: tuple[float, ...]) -> None:
    halfway = np.add(one, other) / 2
    near = between(one, halfway, TURNED)
    far = between(one, other, TURNED)
    assert np.trace(near) <= np.trace(far) + 1e-12


def test_stray_light_does_what_adding_it_does() -> None:
    linear = np.array([0.05, 0.03, 0.02])
    veil = 0.01
    expected = linear_to_lab((linear + veil) * 0.18 / (0.18 + veil)) - linear_to_lab(linear)
    found = shifts(linear_to_lab(linear), CameraError(0, veil, 0, 0, 0, 0.18))[1]
    assert found == pytest.approx(expected, rel=0.25)


def test_hue_turns_and_chroma_stretches() -> None:
    lab = np.array([40.0, 6.0, 18.0])
    chroma, hue = shifts(lab, CameraError(0, 0, 0.01, 0.01, 0, 0.18))[2:4]
    assert chroma[1:] == pytest.approx(0.01 * lab[1:])
    angle = np.arctan2(*(lab + hue)[:0:-1]) - np.arctan2(*lab[:0:-1])
    assert angle == pytest.approx(0.01, rel=1e-3)


def test_a_better_card_and_a_noted_light_leave_less() -> None:
    lab = (30.0, 7.0, 15.0)
    sizes = {kind: u(standing_alone(lab, camera_error(card_of(kind, 0.18), DAYLIGHT))) for kind in CARD_KINDS}
    assert (sizes["steps3"] <= sizes["grey18"]).all()
    assert (sizes["chart24"] < sizes["steps3"]).all()
    by_light = [
        u(standing_alone(lab, camera_error(card_of("grey18", 0.18), light)))[2] for light in (DAYLIGHT, LAMPS, TUBES)
    ]
    assert by_light == sorted(by_light)
    for unknown in (None, NOT_NOTED, "candles"):
        assert camera_error(card_of("grey18", 0.18), unknown) == camera_error(card_of("grey18", 0.18), TUBES)
    assert all(camera_error(card_of(kind, 0.18), light) for kind in CARD_KINDS for light in LIGHTS)


NEAR_HAIR = (0, 1, 18, 19, 20, 22, 23)  # dark and light skin and the greys but the one that balances


@pytest.mark.parametrize("kind", ["grey18", "chart24"])
def test_six_published_photos_stay_within_what_is_claimed(kind: str) -> None:
    """Source of the photos: see chart_photos.csv. The chart in them is lit unevenly, so the light's part is added.

    Beside a chart that part and the chart's own misfit hold all that is held here (95, 93 and 95 % without the
    rendering): this judges their sum, and only beside a plain grey the rendering too.
    """
    inside = {}
    goal = linear_to_lab(chart_reference())
    for name, linear in chart_photos.photos().items():
        inside[name] = []
        reading = chart_photos.reading(kind, linear if kind == "chart24" else linear[[chart_photos.NEUTRAL_5]])
        correction = correction_from_card(reading, 0.1906 if kind == "grey18" else None)
        lab = linear_to_lab(apply(correction, linear))
        for patch in NEAR_HAIR:
            uneven = (lab[patch, 0] + 16) * (2 ** (0.15 / np.sqrt(3) / 3) - 1)
            rest = np.square([uneven, 0.5, 0.6]) + np.square(MISFIT_ALONE * np.array(correction.misfit))
            spread = u(standing_alone(lab[patch], camera_error(card_of(kind, 0.1906), None)) + np.diag(rest))
            inside[name].append(np.abs(lab[patch] - goal[patch]) <= 2 * spread)
    if kind == "chart24":
        share = np.mean([each for photo in inside.values() for each in photo], axis=0)
        assert (share >= 0.88).all(), share
        return
    # with gains on sharpened sensors all a* are held (12 of 14 with gains on sRGB), and one L* less: an orange under a
    # cast of 1.6 to 0.5
    # four photos are flooded by window light, 1.8 to 4.6 % of white: more than one grey is claimed to stand
    fair = np.mean([each for name in ("IMG_1970", "IMG_1971") for each in inside[name]], axis=0)
    flooded = np.mean([each for name in ("IMG_1966", "IMG_1968", "IMG_1969") for each in inside[name]], axis=0)
    assert fair.mean() >= 0.9, fair
    assert (fair >= 0.75).all(), fair
    assert flooded[0] < 0.75  # what the strip is for
