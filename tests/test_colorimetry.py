"""Colour mathematics against published tables and three independent libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tests.golden_tables import read_table
from tests.srgb import encode
from tracker.maths import colorimetry as cm
from tracker.maths.rgb_space import SRGB, lab_to_hex

labs = st.tuples(st.floats(0, 100), st.floats(-90, 90), st.floats(-90, 90))


@pytest.mark.parametrize("row", read_table("ciede2000.csv"), ids=lambda row: row["dE00"])
def test_ciede2000_meets_all_34_published_pairs(row: dict[str, str]) -> None:
    v = {key: float(text) for key, text in row.items()}
    got = cm.delta_e_2000([v["L1"], v["a1"], v["b1"]], [v["L2"], v["a2"], v["b2"]])
    assert float(got) == pytest.approx(v["dE00"], abs=5e-5)


# IEC 61966-2-1 and CIE 15:2004 worked by hand from the formulas (values as in colour-science 0.4.7):
# Y 0.18 is code 117.646 and L* 49.496; code 128 is L* 53.585; encoded 0.5 is linear 0.21404
def test_srgb_and_cielab_worked_values() -> None:
    assert SRGB.encode([0.18] * 3).tolist() == [118] * 3
    assert float(cm.linear_to_lab([0.18] * 3)[0]) == pytest.approx(49.496, abs=1e-3)
    assert float(cm.linear_to_lab(SRGB.decode(np.full(3, 128 / 255)))[0]) == pytest.approx(53.585, abs=1e-3)
    assert float(SRGB.decode([0.5] * 3)[0]) == pytest.approx(0.21404, abs=1e-5)


# colorspacious (MIT), gold_values.py of its wheel: sRGB and Lab by a library of other authors
def test_against_colorspacious_gold_values() -> None:
    from colorspacious import cspace_convert
    from colorspacious.gold_values import XYZ100_CIELab_gold_D65, sRGB1_sRGB1_linear_gold

    for encoded, linear in sRGB1_sRGB1_linear_gold:
        np.testing.assert_allclose(SRGB.decode(encoded), linear, atol=1e-6)
    for xyz100, lab in XYZ100_CIELab_gold_D65:
        # their D65 is CIE 15's tabulated white, so it is passed in
        np.testing.assert_allclose(cm.xyz_to_lab(np.asarray(xyz100) / 100, [0.95047, 1.0, 1.08883]), lab, atol=2e-3)
    rgb = np.random.default_rng(1).random((200, 3))
    np.testing.assert_allclose(cm.linear_to_lab(SRGB.decode(rgb)), cspace_convert(rgb, "sRGB1", "CIELab"), atol=0.03)


def test_against_colour_science() -> None:
    import colour

    rgb = np.random.default_rng(2).random((200, 3))
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    xyz = colour.sRGB_to_XYZ(rgb)
    lab = colour.XYZ_to_Lab(xyz, d65)
    ours = cm.linear_to_lab(SRGB.decode(rgb))
    # sRGB's printed matrix has four decimals, ours is computed from the primaries
    np.testing.assert_allclose(ours, lab, atol=0.03)
    np.testing.assert_allclose(cm.lab_to_lch(ours), colour.Lab_to_LCHab(ours), atol=1e-9)
    other = ours[::-1]
    np.testing.assert_allclose(cm.delta_e_2000(ours, other), colour.delta_E(ours, other, method="CIE 2000"), atol=1e-9)


def test_against_scikit_image() -> None:
    from skimage.color import rgb2lab

    rgb = np.random.default_rng(3).random((200, 3))
    lab = rgb2lab(rgb)
    ours = cm.linear_to_lab(SRGB.decode(rgb))
    np.testing.assert_allclose(ours, lab, atol=0.03)


def test_one_colour_is_compared_with_many_and_with_one() -> None:
    many = [[50.0, 2.0, -70.0], [60.0, 0.0, 0.0]]
    alone = [float(cm.delta_e_2000([50.0, 0.0, -80.0], each)) for each in many]
    np.testing.assert_allclose(cm.delta_e_2000([50.0, 0.0, -80.0], many), alone, atol=1e-12)
    np.testing.assert_allclose(cm.delta_e_2000(many, [50.0, 0.0, -80.0]), alone, rtol=1e-9)


def test_adaptation_against_colour_science() -> None:
    import colour

    a = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["A"])
    xyz = np.random.default_rng(4).random((50, 3))
    expected = colour.adaptation.chromatic_adaptation_VonKries(xyz, a, cm.D65, transform="Bradford")
    to_d65 = cm.adaptation_matrix(a, cm.D65)
    np.testing.assert_allclose(xyz @ to_d65.T, expected, atol=1e-9)
    np.testing.assert_allclose(to_d65 @ a, cm.D65, atol=1e-12)


# chromaticities of the sRGB primaries give IEC 61966-2-1's printed matrix to its four decimals
def test_srgb_matrix_rounds_to_the_printed_one() -> None:
    printed = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(cm.RGB_TO_XYZ, printed, atol=6e-5)


@given(labs, labs)
def test_difference_is_symmetric_and_zero_on_itself(first: tuple[float, ...], second: tuple[float, ...]) -> None:
    assert float(cm.delta_e_2000(first, first)) == 0
    forth, back = float(cm.delta_e_2000(first, second)), float(cm.delta_e_2000(second, first))
    assert forth >= 0
    # a hue difference of exactly half a turn may fall to either side by the last bit, as the paper says of pair 14
    if abs(abs(_hue(first, second) - _hue(second, first)) - 180) > 1e-6:
        assert forth == pytest.approx(back, rel=1e-9, abs=1e-9)


def _hue(lab: tuple[float, ...], other: tuple[float, ...]) -> float:
    chroma = (np.hypot(*lab[1:]) + np.hypot(*other[1:])) / 2
    stretch = 1.5 - 0.5 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    return float(np.degrees(np.arctan2(lab[2], lab[1] * stretch)) % 360)


@given(arrays(float, (5, 3), elements=st.floats(-0.5, 4)))
def test_encode_and_lab_invert(linear: np.ndarray) -> None:
    positive = np.abs(linear)
    np.testing.assert_allclose(SRGB.decode(encode(positive)), positive, atol=2e-7)
    np.testing.assert_allclose(cm.lab_to_linear(cm.linear_to_lab(positive)), positive, atol=1e-9)


def test_hex_of_mid_grey_and_of_a_colour_outside_the_gamut() -> None:
    assert lab_to_hex(cm.linear_to_lab(SRGB.decode(np.array([10, 128, 200]) / 255))) == "#0a80c8"
    assert lab_to_hex([50, 128, 0]).startswith("#ff")
