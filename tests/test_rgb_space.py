from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from colorspacious import cspace_convert
from numpy.typing import NDArray

from tests.photo_samples import NAMES, colour
from tracker.maths.rgb_space import ADOBE_RGB, DISPLAY_P3, NAMED_SPACES, SRGB, ParametricCurve, RgbSpace, SampledCurve

ALL_CODES = np.repeat(np.arange(256, dtype=np.uint8)[:, np.newaxis], 3, axis=1)


def random_codes(shape: tuple[int, ...], dtype: type = np.uint8) -> NDArray[Any]:
    return np.random.default_rng(7).integers(0, np.iinfo(dtype).max + 1, shape).astype(dtype)


def test_srgb_light_agrees_with_colorspacious() -> None:
    codes = random_codes((500, 3))
    expected = cspace_convert(codes / 255, "sRGB1", "sRGB1-linear")  # independent code of IEC 61966-2-1
    np.testing.assert_allclose(SRGB.linear(codes), expected, atol=1e-6)


def test_curve_at_its_corner_and_middle() -> None:
    # IEC 61966-2-1: 0.04045 -> 0.0031308; code 118 is 0.1812, near the 18 % of a grey card
    assert SRGB.curves[0].decode(0.04045) == pytest.approx(0.0031308, abs=1e-7)
    assert SRGB.linear(np.full(3, 118, np.uint8))[0] == pytest.approx(0.1812, abs=5e-5)


@pytest.mark.parametrize("space", NAMED_SPACES, ids=lambda space: space.name)
def test_matrices_agree_with_colour_science(space: RgbSpace) -> None:
    reference = colour.RGB_COLOURSPACES[space.name]
    expected = colour.normalised_primary_matrix(reference.primaries, reference.whitepoint)
    np.testing.assert_allclose(space.to_xyz, expected, atol=1e-12)


def test_published_matrix_of_srgb() -> None:
    # IEC 61966-2-1, four decimals
    published = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(SRGB.to_xyz, published, atol=5.1e-5)


@pytest.mark.parametrize("space", NAMED_SPACES, ids=lambda space: space.name)
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_linear_srgb_agrees_with_colour_science(space: RgbSpace, dtype: type) -> None:
    codes = random_codes((300, 3), dtype)
    reference, srgb = colour.RGB_COLOURSPACES[space.name], colour.RGB_COLOURSPACES["sRGB"]
    to_xyz, srgb_to_xyz = (colour.normalised_primary_matrix(one.primaries, one.whitepoint) for one in (reference, srgb))
    native = reference.cctf_decoding(codes / np.iinfo(dtype).max)
    light = native @ np.linalg.solve(srgb_to_xyz, to_xyz).T
    np.testing.assert_allclose(space.linear(codes), light, atol=2e-6)


def test_colours_outside_srgb_are_not_clipped() -> None:
    red = DISPLAY_P3.linear(np.array([255, 0, 0], np.uint8))
    # colour-science 0.4.7, Display P3 to sRGB, linear: (1.2249, -0.0421, -0.0196)
    np.testing.assert_allclose(red, [1.2249, -0.0421, -0.0196], atol=5e-5)


@pytest.mark.parametrize("space", NAMED_SPACES, ids=lambda space: space.name)
def test_white_stays_white_and_black_black(space: RgbSpace) -> None:
    ends = space.linear(np.array([[0, 0, 0], [255, 255, 255]], np.uint8))
    np.testing.assert_allclose(ends, [[0, 0, 0], [1, 1, 1]], atol=1e-6)


@pytest.mark.parametrize("space", NAMED_SPACES, ids=lambda space: space.name)
def test_every_code_comes_back_from_its_light(space: RgbSpace) -> None:
    np.testing.assert_array_equal(space.encode(space.native_linear(ALL_CODES)), ALL_CODES)


def test_encode_clips_what_codes_cannot_say() -> None:
    np.testing.assert_array_equal(SRGB.encode([[-0.2, 0.5, 1.7]]), [[0, 188, 255]])  # 0.5 -> 0.73536 -> 187.52


@pytest.mark.parametrize("shape", [(3,), (5, 3), (4, 5, 3), (2, 3, 4, 3), (0, 3)])
@pytest.mark.parametrize("space", [SRGB, ADOBE_RGB], ids=lambda space: space.name)
def test_any_leading_shape(space: RgbSpace, shape: tuple[int, ...]) -> None:
    light = space.linear(random_codes(shape))
    assert light.shape == shape
    assert light.dtype == np.float32


@pytest.mark.parametrize("codes", [np.zeros((4, 3), np.float32), np.zeros((4, 4), np.uint8), np.zeros((), np.uint8)])
def test_other_arrays_are_refused(codes: NDArray[np.generic]) -> None:
    with pytest.raises(ValueError, match="expected uint8 or uint16"):
        SRGB.linear(codes)


def test_channels_keep_their_own_curves() -> None:
    curves = (ParametricCurve(1.0), ParametricCurve(2.0), SampledCurve((0.0, 0.25, 1.0)))
    space = RgbSpace("matrix profile", SRGB.to_xyz, curves)
    half = 32768  # 0.500008 of full scale
    for codes in (np.full((1, 3), half, np.uint16), np.full((1, 3), 128, np.uint8)):
        value = codes[0, 0] / np.iinfo(codes.dtype).max
        expected = [value, value**2, 0.25 + (value - 0.5) * 1.5]
        np.testing.assert_allclose(space.native_linear(codes)[0], expected, atol=1e-6)
        np.testing.assert_allclose(space.decode(np.full((1, 3), value))[0], expected, atol=1e-12)


def test_a_curve_needs_two_samples() -> None:
    with pytest.raises(ValueError, match="two samples"):
        SampledCurve((0.5,))


def test_names_are_those_of_the_reference_library() -> None:
    assert tuple(space.name for space in NAMED_SPACES) == NAMES


def test_tables_are_shared_and_cannot_be_changed() -> None:
    assert SRGB.table(8) is DISPLAY_P3.table(8)
    assert not SRGB.table(8).flags.writeable
