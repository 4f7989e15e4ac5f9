"""The path, the selection of body hair and the bands: drawn strands of known colour, and a real head of hair."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.scenes import PATH, WIDTH, photograph, scene
from tracker import errors
from tracker.maths.colorimetry import delta_e_2000, lab_to_linear, linear_to_lab, luminance
from tracker.maths.rgb_space import SRGB
from tracker.measure.hair import (
    BANDS,
    KEPT,
    HairPath,
    band_colour,
    clipped_codes,
    lights_and_lows,
    profile,
    select_body,
    straighten,
)
from tracker.measure.hair.select import CLIPPED, GLOSS, NOT_HAIR, SHADOW, Selection


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (((10.0, 10.0),), "1 point, it needs"),
        ((), "0 points"),
        (((10.0, 10.0), (10.0, 10.0), (10.0, 300.0)), "are the same"),
        (((10.0, 10.0), (10.0, 30.0)), "20 pixels long"),
        (((10.0, 10.0), (10.0, 11.2)), "is 1 pixel long"),
        (((10.0, float("nan")), (10.0, 300.0)), "without two coordinates"),
    ],
)
def test_points_that_make_no_path(points: tuple, words: str) -> None:
    with pytest.raises(errors.InvalidPath, match=words):
        HairPath(points, 40.0)


@pytest.mark.parametrize("width", [2.0, 0.0, -5.0, float("nan")])
def test_width_that_makes_no_path(width: float) -> None:
    with pytest.raises(errors.InvalidPath, match="pixels wide"):
        HairPath(PATH, width)


def test_a_width_of_one_pixel_is_said_in_the_singular() -> None:
    with pytest.raises(errors.InvalidPath, match="is 1 pixel wide"):
        HairPath(PATH, 1.2)


def test_path_that_leaves_the_photo() -> None:
    encoded = photograph(scene()).encoded
    with pytest.raises(errors.OutsidePhoto, match="50 pixels outside") as caught:
        straighten(encoded, HairPath(((300.0, 150.0), (950.0, 600.0)), 40.0))
    assert caught.value.value == 50
    with pytest.raises(errors.OutsidePhoto, match="of the path's width"):
        straighten(encoded, HairPath(((5.0, 150.0), (5.0, 900.0)), 200.0))


def test_strip_of_a_straight_path_is_the_photo_itself() -> None:
    rng = np.random.default_rng(1)
    encoded = rng.integers(0, 256, (300, 200, 3), dtype=np.uint8)
    strip = straighten(encoded, HairPath(((100.0, 50.0), (100.0, 250.0)), 40.0))
    # looking from root to tip, down the photo, the left hand is the photo's right
    np.testing.assert_array_equal(strip.codes, encoded[50:250, 80:120][:, ::-1])
    assert strip.area == pytest.approx(1.0)


@given(st.integers(0, 10_000))
def test_strip_never_folds_or_leaves_the_ribbon(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points = np.cumsum(np.abs(rng.normal(60, 25, (6, 2))) * [0.3, 1] + 5, axis=0) + np.array([60, 20])
    path = HairPath(tuple((float(x), float(y)) for x, y in points), 24.0)
    strip = straighten(np.zeros((900, 500, 3), np.uint8), path)
    middle = np.stack([strip.x.mean(axis=1), strip.y.mean(axis=1)], -1)
    assert np.all(np.diff(middle[:, 1]) > 0)
    away = np.hypot(strip.x - middle[:, :1], strip.y - middle[:, 1:])
    assert away.max() <= 12.5


def balanced_strip(linear: np.ndarray, width: float = WIDTH) -> tuple[np.ndarray, np.ndarray]:
    photo = photograph(linear, noise=0.001)
    strip = straighten(photo.encoded, HairPath(PATH, width))
    return SRGB.decode(strip.codes / 255), strip.inside & ~clipped_codes(strip.codes)


def test_body_colour_of_even_hair_is_what_was_drawn() -> None:
    colour = (42.0, 8.0, 20.0)
    linear, usable = balanced_strip(scene(root=colour, tip=colour, spread=1.0))
    for band in BANDS:
        count = len(linear)
        rows = slice(int(band.start * count), int(band.stop * count))
        got = band_colour(linear[rows], usable[rows], band.name, Selection())
        assert float(delta_e_2000(got.lab, colour)) < 0.6
        assert got.dropped.not_hair == 0


def test_gloss_shadow_wall_and_burnt_pixels_are_left_out_and_counted() -> None:
    rng = np.random.default_rng(3)
    lab = np.array([40.0, 8.0, 20.0]) + rng.normal(size=(200, 100, 3)) * [2.0, 0.4, 0.8]
    linear = lab_to_linear(lab)
    linear[:, :8] = lab_to_linear([95.0, 0.0, 0.0])  # wall
    linear[:, 8:14] = linear[:, 8:14] * 0.5 + 0.30  # gloss of the lamp's colour
    linear[:, 14:20] *= 0.2  # gaps between strands
    usable = np.ones((200, 100), bool)
    usable[:, 95:] = False  # burnt out
    verdict = select_body(linear_to_lab(linear), luminance(linear), usable, Selection())
    assert np.all(verdict[:, 95:] == CLIPPED)
    assert np.all(verdict[:, :8] == NOT_HAIR)
    assert np.isin(verdict[:, 8:14], [GLOSS, NOT_HAIR]).mean() > 0.95
    assert np.isin(verdict[:, 14:20], [SHADOW, NOT_HAIR]).mean() > 0.95
    body = linear[verdict == KEPT].mean(axis=0)
    assert float(delta_e_2000(linear_to_lab(body), [40, 8, 20])) < 0.7
    naive = linear[usable].mean(axis=0)
    assert float(delta_e_2000(linear_to_lab(naive), [40, 8, 20])) > 4


# How the renderer of the sample photos defines their true colour (sample_images/truth.json, "lab"): "the hair pixels of
# the region whose luminance lies between the region's 10th and 90th percentile"
def test_the_lightest_and_the_darkest_tenth_of_the_hair_are_left_out() -> None:
    lab = np.zeros((200, 100, 3))
    lab[..., 0] = np.random.default_rng(5).permutation(np.linspace(30, 50, 20_000)).reshape(200, 100)
    lab[..., 1:] = 6.0, 15.0
    linear = lab_to_linear(lab)
    verdict = select_body(lab, luminance(linear), np.ones((200, 100), bool), Selection())
    assert (verdict == GLOSS).mean() == pytest.approx(0.10, abs=0.001)
    assert (verdict == SHADOW).mean() == pytest.approx(0.10, abs=0.001)
    kept = lab[verdict == KEPT][:, 0]
    assert (kept.min(), kept.max()) == (pytest.approx(32, abs=0.02), pytest.approx(48, abs=0.02))


@pytest.mark.parametrize("share", [0.04, 0.08])
def test_gloss_on_less_than_a_tenth_of_the_hair_does_not_reach_its_colour(share: float) -> None:
    # light of the lamp's colour on top of the hair's own (dichromatic reflection, see `hair.gloss`)
    rng = np.random.default_rng(6)
    own = lab_to_linear(np.array([40.0, 8.0, 20.0]) + rng.normal(size=(200, 100, 3)) * [0.5, 0.1, 0.2])
    shining = rng.random((200, 100)) < share
    found = band_colour(own + 0.2 * shining[..., None], np.ones((200, 100), bool), "mid", Selection())
    assert float(delta_e_2000(found.lab, [40, 8, 20])) < 0.15


def test_lights_and_lows_of_two_tone_hair() -> None:
    stripes = np.where((np.arange(120) // 20) % 2 == 0, 30.0, 55.0)
    lab = np.stack([np.tile(stripes, (240, 1)), np.full((240, 120), 7.0), np.full((240, 120), 18.0)], -1)
    lab[..., 0] += np.random.default_rng(1).normal(size=(240, 120))
    usable = np.ones((240, 120), bool)
    band = band_colour(lab_to_linear(lab), usable, "mid", Selection(0.0, 0.0))
    root = band_colour(lab_to_linear(lab - [22, 0, 0]) * 1.0, usable, "root", Selection(0.0, 0.0))
    found = lights_and_lows(band.cells, np.minimum(root.cells, 34.0))
    assert found.lights.value == pytest.approx(55, abs=1)
    assert found.lows.value == pytest.approx(30, abs=1)
    assert found.dimension.value == pytest.approx(25, abs=1.5)
    assert found.lightened is not None
    assert found.lightened.value == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("shading", [0.0, 3.0, -3.0])
def test_hair_of_one_colour_is_not_said_to_be_lightened(shading: float) -> None:
    # strands of one colour, and light that falls 3 L* unlike on root and band: nothing was lightened
    for seed in range(40):
        rng = np.random.default_rng(seed)
        strands = rng.normal(35, 2, (2, 1, 12)) + rng.normal(0, 1, (2, 12, 12))
        found = lights_and_lows(strands[1] + shading, strands[0]).lightened
        assert found is not None
        assert found.value <= 1.96 * found.u + 1e-9


def test_hair_that_was_lightened_by_far_is_surely_so() -> None:
    rng = np.random.default_rng(1)
    found = lights_and_lows(rng.normal(50, 3, (60, 12)), rng.normal(28, 2, (60, 12))).lightened
    assert found is not None
    assert found.value > 0.95
    assert 1.96 * found.u < 0.05


def test_as_much_as_by_chance_is_no_lightened_hair() -> None:
    even = np.random.default_rng(1).normal(35, 2, (60, 12))
    found = lights_and_lows(np.random.default_rng(2).normal(35, 2, (60, 12)), even).lightened
    assert found is not None
    assert found.value < 0.03


def test_too_little_hair_is_refused() -> None:
    with pytest.raises(errors.TooFewPixels, match="at the root") as caught:
        band_colour(np.full((18, 18, 3), 0.1), np.ones((18, 18), bool), "root", Selection())
    assert caught.value.limit == 400
    with pytest.raises(errors.TooFewPixels):
        band_colour(np.full((60, 60, 3), 0.1), np.zeros((60, 60), bool), "root", Selection())


def test_profile_rises_from_root_to_tip_as_drawn() -> None:
    linear, usable = balanced_strip(scene(root=(25, 6, 10), tip=(60, 6, 24), spread=1.5))
    verdict = np.where(usable, KEPT, CLIPPED).astype(np.uint8)
    points = profile(linear, verdict)
    lightness = np.array([point.lab[0] for point in points])
    position = np.array([point.position for point in points])
    assert len(points) == 40
    # drawn: L* 25 at y = 100 to 60 at y = 1000; the path runs from y = 150 to 940
    expected = 25 + 35 * (150 + position * 790 - 100) / 900
    np.testing.assert_allclose(lightness, expected, atol=1.5)
    assert all(point.u_lightness > 0 for point in points)


# scikit-image's public-domain portrait of an astronaut: a real head of hair beside wall and skin. The reference is a
# narrow ribbon placed by hand that holds nothing but hair; twice as wide, it takes in wall, face and ear.
HAIR_PATH = ((242.0, 24.0), (272.0, 40.0), (290.0, 66.0), (288.0, 90.0), (284.0, 112.0))


def test_real_head_of_hair_keeps_its_colour_when_the_ribbon_is_too_wide() -> None:
    from skimage.data import astronaut

    def colour(width: float) -> tuple[np.ndarray, np.ndarray]:
        strip = straighten(astronaut(), HairPath(HAIR_PATH, width))
        linear = SRGB.decode(strip.codes / 255)
        usable = strip.inside & ~clipped_codes(strip.codes)
        body = band_colour(linear, usable, "mid", Selection())
        return body.lab, linear_to_lab(linear[usable].mean(axis=0))

    narrow, _ = colour(16.0)
    wide, naive = colour(44.0)
    assert float(delta_e_2000(wide, narrow)) < 4.0
    assert float(delta_e_2000(naive, narrow)) > 2 * float(delta_e_2000(wide, narrow))
