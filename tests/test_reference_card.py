"""Finding and reading a card, against drawn photos with known corners and against independent mathematics."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.scenes import CARD, Drawn, photograph, scene
from tracker import errors
from tracker.maths.colorimetry import D50_ICC, D65, RGB_TO_XYZ, adaptation_matrix, xyz_to_lab
from tracker.maths.rgb_space import SRGB
from tracker.measure.reference_card import CARD_KINDS, Corners, found_corners, read_card, unit_to_photo
from tracker.measure.reference_card.kinds.chart24 import chart_reference

GREY = CARD_KINDS["grey18"]


def find_card(encoded: np.ndarray) -> Corners:
    """The program's plain search, where it is sure."""
    assert GREY.search is not None
    return found_corners(GREY.search, encoded)


def turned(angle: float, centre: tuple[float, float] = (690, 560), size: tuple[float, float] = (150, 200)) -> tuple:
    """Corners of an upright card turned about its centre, clockwise from its own top left."""
    half = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]]) * size
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    return tuple((float(x), float(y)) for x, y in half @ np.array([[c, s], [-s, c]]) + centre)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("gains", [(1, 1, 1), (1.7, 1.0, 0.45), (0.5, 0.5, 0.5), (2.2, 2.2, 2.2)])
@pytest.mark.parametrize("angle", [0, -8, 12])
def test_finds_the_card_within_three_pixels(seed: int, gains: tuple[float, float, float], angle: float) -> None:
    corners = turned(angle)
    photo = photograph(scene(card=corners, seed=seed), gains=gains, seed=seed)
    found = np.array(find_card(photo.encoded))
    # from whichever corner it starts, the outline is the same
    errors_by_start = [np.abs(np.roll(found, k, axis=0) - corners).max() for k in range(4)]
    assert min(errors_by_start) < 3.0


def test_no_card_and_two_cards_are_said() -> None:
    hidden = ((2.0, 2.0), (3.0, 2.0), (3.0, 3.0), (2.0, 3.0))
    with pytest.raises(errors.CardNotFound, match="four corners by hand"):
        find_card(photograph(scene(card=hidden)).encoded)
    linear = scene()
    linear[120:300, 620:780] = 0.18
    with pytest.raises(errors.CardAmbiguous, match="More than one thing"):
        find_card(photograph(linear).encoded)


def test_a_card_cut_by_the_frame_is_not_found() -> None:
    with pytest.raises(errors.CardNotFound):
        find_card(photograph(scene(card=((800.0, 500.0), (960.0, 500.0), (960.0, 700.0), (800.0, 700.0)))).encoded)


# scikit-image's projective transform, estimated from the same four points, is independent of the closed form
def test_unit_square_map_against_scikit_image() -> None:
    from skimage.transform import ProjectiveTransform

    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    transform = ProjectiveTransform.from_estimate(unit, np.array(CARD))
    points = np.random.default_rng(1).random((50, 2))
    x, y = unit_to_photo(CARD, points[:, 0], points[:, 1])
    np.testing.assert_allclose(np.stack([x, y], -1), transform(points), atol=1e-6)


# Lab under D50 of the chart's neutrals after November 2014, printed from colour-science 0.4.7's data set
def test_chart_reference_against_its_published_greys() -> None:
    xyz = chart_reference() @ RGB_TO_XYZ.T
    lab = xyz_to_lab(xyz @ adaptation_matrix(D65, D50_ICC).T, D50_ICC)
    published = {18: (95.19, -1.03, 2.93), 19: (81.29, -0.57, 0.44), 20: (66.89, -0.75, -0.06)}
    published |= {21: (50.76, -0.13, 0.14), 22: (35.63, -0.46, -0.48), 23: (20.64, 0.07, -0.46)}
    for patch, expected in published.items():
        np.testing.assert_allclose(lab[patch], expected, atol=0.06)


def test_reads_a_noisy_coloured_card() -> None:
    photo = photograph(scene(), gains=(1.4, 1.0, 0.6), noise=0.004)
    reading = read_card(photo.encoded, SRGB, GREY, CARD)
    np.testing.assert_allclose(reading.linear[0], np.array([1.4, 1.0, 0.6]) * 0.18, rtol=0.01)
    standard_error = np.sqrt(np.diag(reading.cov[0])) / reading.linear[0]
    assert np.all(standard_error < 0.005)
    assert reading.gradient < 0.02
    assert reading.clipped == 0


def lit(photo_linear: np.ndarray, ev_across: float) -> np.ndarray:
    """Light that falls by so many EV over the card's width."""
    x = np.arange(photo_linear.shape[1])
    return photo_linear * 2 ** (ev_across * (x - 640) / 160)[None, :, None]


def test_a_finger_at_a_corner_and_light_that_falls_off_are_no_noise() -> None:
    photo = drawn_card(0.3, finger=True)
    noise = [
        np.sqrt(np.diag(read_card(each.encoded, SRGB, GREY, frame(each)).cov[0]))
        for each in (photo, drawn_card(0.3, finger=False))
    ]
    np.testing.assert_array_less(noise[0], 2 * noise[1])


def drawn_card(ev: float, *, finger: bool) -> Drawn:
    """A card that fills the photo, under light that falls by so many EV across and down it."""
    rows, columns = np.mgrid[0:240, 0:240] / 240
    linear = np.repeat(0.18 * 2 ** (ev * (columns + rows) / 2)[..., None], 3, axis=-1)
    if finger:
        linear[:73, :73] = (0.4, 0.2, 0.1)
    return photograph(linear)


@pytest.mark.parametrize("ev", [0.1, 0.3])
def test_gradient_is_measured(ev: float) -> None:
    reading = read_card(photograph(lit(scene(), ev)).encoded, SRGB, GREY, CARD)
    assert reading.gradient == pytest.approx(ev, abs=0.05)


def test_uneven_light_is_refused() -> None:
    with pytest.raises(errors.CardUneven) as caught:
        read_card(photograph(lit(scene(), 0.8)).encoded, SRGB, GREY, CARD)
    assert caught.value.value == pytest.approx(0.8, abs=0.1)
    assert caught.value.limit == 0.5


@pytest.mark.parametrize(("gain", "word"), [(7.0, "burnt out"), (0.001, "crushed")])
def test_clipped_card_is_refused(gain: float, word: str) -> None:
    with pytest.raises(errors.CardClipped, match=word):
        read_card(photograph(scene(), gains=(gain, gain, gain)).encoded, SRGB, GREY, CARD)


def test_one_clipped_channel_is_enough() -> None:
    with pytest.raises(errors.CardClipped):
        read_card(photograph(scene(), gains=(7.0, 1.0, 1.0)).encoded, SRGB, GREY, CARD)


def test_a_finger_at_the_very_edge_leaves_the_inner_part_clean() -> None:
    linear = scene()
    cv2.ellipse(linear, (640, 620), (8, 70), 0, 0, 360, (0.02, 0.01, 0.01), -1)
    reading = read_card(photograph(linear).encoded, SRGB, GREY, CARD)
    np.testing.assert_allclose(reading.linear[0], 0.18, rtol=0.01)


def framed(patches: np.ndarray, columns: int, rows: int, share: float, frame_linear: float, size: int = 60) -> Drawn:
    """A card that fills the photo, each patch inside a frame that takes so much of it on every side."""
    edge = round(share * size)
    cells = np.full((rows, columns, size, size, 3), frame_linear)
    cells[:, :, edge : size - edge, edge : size - edge] = patches.reshape(rows, columns, 1, 1, 3)
    return photograph(cells.transpose(0, 2, 1, 3, 4).reshape(rows * size, columns * size, 3), noise=0.001)


@pytest.mark.parametrize("border", [0.01, 0.95])
@pytest.mark.parametrize("share", [0.08, 0.15])
def test_a_printed_border_around_the_grey_is_not_read(share: float, border: float) -> None:
    photo = framed(np.full(3, 0.18), 1, 1, share, border, size=240)
    reading = read_card(photo.encoded, SRGB, GREY, frame(photo))
    np.testing.assert_allclose(reading.linear[0], 0.18, rtol=0.005)
    assert reading.gradient < 0.02
    assert reading.clipped == 0


@pytest.mark.parametrize("away", [(0.12, 0.12), (-0.12, 0.0), (0.0, -0.15), (0.15, -0.1)])
def test_corners_that_miss_the_card_by_an_eighth_read_the_card(away: tuple[float, float]) -> None:
    # a card of 160 by 200 pixels before a white wall; the marks lie beside it by that share of its sides
    card = ((300.0, 300.0), (460.0, 300.0), (460.0, 500.0), (300.0, 500.0))
    linear = np.full((800, 800, 3), 0.8)
    linear[300:500, 300:460] = 0.18
    moved = tuple((x + away[0] * 160, y + away[1] * 200) for x, y in card)
    reading = read_card(photograph(linear, noise=0.001).encoded, SRGB, GREY, moved)  # type: ignore[arg-type]
    np.testing.assert_allclose(reading.linear[0], 0.18, rtol=0.005)


# charts have black frames between their patches; the sample photos' patches are 84 % of their cells
# (sample_images/README.md), a frame of 8 % on every side
def test_the_black_frames_of_a_chart_are_not_read() -> None:
    published = np.clip(chart_reference(), 0, 1)
    chart = framed(published, 6, 4, 0.08, 0.005, size=50)
    reading = read_card(chart.encoded, SRGB, CARD_KINDS["chart24"], frame(chart))
    np.testing.assert_allclose(reading.linear, published, atol=0.004)


@pytest.mark.parametrize(("burnt", "refused"), [(0.003, False), (0.0075, True), (0.02, True)])
def test_a_card_with_more_than_half_a_percent_burnt_out_is_refused(burnt: float, refused: bool) -> None:
    # 0.5 %, as the refusal itself tells people; nothing else of the card is touched
    side = 400
    linear = np.full((side, side, 3), 0.18)
    photo = photograph(linear, noise=0.002)
    spots = np.random.default_rng(4).random((side, side)) < burnt
    photo.encoded[spots] = 255
    if not refused:
        assert 0 < read_card(photo.encoded, SRGB, GREY, frame(photo)).clipped <= 0.005
        return
    with pytest.raises(errors.CardClipped, match=r"limit 0\.5 %") as caught:
        read_card(photo.encoded, SRGB, GREY, frame(photo))
    assert caught.value.limit == 0.005
    assert caught.value.value == pytest.approx(burnt, rel=0.4)


@pytest.mark.parametrize("half_width", [25, 45, 58])
@pytest.mark.parametrize("colour", [(0.02, 0.01, 0.01), (0.55, 0.35, 0.28), (0.10, 0.10, 0.10)])
def test_covered_card_is_refused(half_width: int, colour: tuple[float, float, float]) -> None:
    linear = scene()
    cv2.ellipse(linear, (720, 620), (half_width, 70), 0, 0, 360, colour, -1)
    with pytest.raises(errors.CardCovered, match="shows something else"):
        read_card(photograph(linear).encoded, SRGB, GREY, CARD)


@pytest.mark.parametrize(
    "corners",
    [
        (CARD[0], CARD[2], CARD[1], CARD[3]),
        (CARD[0], CARD[3], CARD[2], CARD[1]),
        (CARD[0], CARD[0], CARD[2], CARD[3]),
        ((640.0, 520.0), (1200.0, 530.0), (792.0, 720.0), (634.0, 708.0)),
        ((640.0, -1.0), (800.0, 530.0), (792.0, 720.0), (634.0, 708.0)),
        ((float("nan"), 520.0), CARD[1], CARD[2], CARD[3]),
    ],
)
def test_corners_that_are_no_card(corners: tuple) -> None:
    with pytest.raises(errors.CardMisplaced):
        read_card(photograph(scene()).encoded, SRGB, GREY, corners)


def test_a_card_of_a_few_pixels_is_too_small() -> None:
    small = ((100.0, 100.0), (106.0, 100.0), (106.0, 108.0), (100.0, 108.0))
    with pytest.raises(errors.CardTooSmall, match="at least 10"):
        read_card(photograph(scene(card=small)).encoded, SRGB, GREY, small)


def test_a_colour_is_no_grey_card() -> None:
    linear = scene()
    mask = np.zeros(linear.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.rint(np.array(CARD)).astype(np.int32), 1)
    linear[mask > 0] = (0.6, 0.05, 0.04)
    with pytest.raises(errors.CardImplausible):
        read_card(photograph(linear).encoded, SRGB, GREY, CARD)


def test_studio_tungsten_is_light_that_a_card_can_balance_and_candles_are_not() -> None:
    def under(x: float, y: float) -> Drawn:
        # sRGB light of that chromaticity by the matrix of IEC 61966-2-1, the strongest channel as drawn
        lamp = np.linalg.solve(RGB_TO_XYZ, [x / y, 1.0, (1 - x - y) / y])
        return photograph(np.full((120, 120, 3), 0.18), gains=tuple(lamp / lamp.max()))

    # Planckian radiators, Wyszecki & Stiles 1982 (from memory): 3200 K, and 2000 K with a hundredth as much blue
    warm = under(0.4234, 0.3990)
    red, _, blue = read_card(warm.encoded, SRGB, GREY, frame(warm)).linear[0]
    assert red / blue == pytest.approx(5.2, abs=0.2)
    with pytest.raises(errors.CardImplausible, match="times more in one colour"):
        read_card(under(0.5267, 0.4133).encoded, SRGB, GREY, frame(warm))


def test_the_worst_step_of_a_strip_says_how_much_is_clipped() -> None:
    steps = np.repeat(np.array([0.9, 0.18, 0.035])[:, None], 3, axis=1)
    strip = drawn_patches(steps, 1, 3, size=200)
    strip.encoded[60:68, 60:68] = 255
    assert 0 < read_card(strip.encoded, SRGB, CARD_KINDS["steps3"], frame(strip)).clipped <= 0.005


def drawn_patches(values: np.ndarray, columns: int, rows: int, size: int = 40) -> Drawn:
    """A card of square patches that fills the photo."""
    linear = np.kron(values.reshape(rows, columns, 3), np.ones((size, size, 1)))
    return photograph(linear, noise=0.001)


def frame(photo: Drawn) -> tuple:
    """Corners of the whole photo."""
    height, width = photo.encoded.shape[:2]
    return ((0.0, 0.0), (float(width), 0.0), (float(width), float(height)), (0.0, float(height)))


def test_strip_the_wrong_way_round_and_chart_upside_down() -> None:
    steps = np.repeat(np.array([0.9, 0.18, 0.035])[:, None], 3, axis=1)
    strip = drawn_patches(steps[::-1], 1, 3)
    with pytest.raises(errors.CardImplausible, match="white through grey to black"):
        read_card(strip.encoded, SRGB, CARD_KINDS["steps3"], frame(strip))
    chart = drawn_patches(np.clip(chart_reference(), 0, 1)[::-1], 6, 4)
    with pytest.raises(errors.CardImplausible, match="do not look like the chart"):
        read_card(chart.encoded, SRGB, CARD_KINDS["chart24"], frame(chart))
