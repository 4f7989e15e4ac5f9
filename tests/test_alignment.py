"""The later photo laid on the earlier one: a known move is undone, grown hair keeps its size, misfits are refused."""

from __future__ import annotations

import dataclasses
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.metrics import structural_similarity

from tests.samples import SAMPLES, sample_photo
from tests.scenes import CARD, PATH, photograph, ribbon, scene
from tracker.compare.alignment import SURROUND, align, aligned_picture, on_the_later_way
from tracker.measure.reading import Marks, ProfilePoint

TRUTH: dict[str, dict[str, Any]] = {photo["file"]: photo for photo in SAMPLES}


def moved(turn: float, scale: float, shift: tuple[float, float]) -> Marks:
    """The marks of the drawn scene, turned (degrees, clockwise on screen), scaled and shifted."""
    angle = np.radians(turn)
    matrix = scale * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    path, corners = (tuple(map(tuple, np.asarray(points) @ matrix.T + shift)) for points in (PATH, CARD))
    return dataclasses.replace(ribbon(), path=path, corners=corners)


@settings(max_examples=60)
@given(st.floats(-20, 20), st.floats(0.6, 1.7), st.floats(-300, 300), st.floats(-300, 300))
def test_a_similarity_is_undone(turn: float, scale: float, x: float, y: float) -> None:
    later = moved(turn, scale, (x, y))
    how = align(ribbon(), later)
    assert how is not None
    assert how.miss < 1e-9
    assert how.size == pytest.approx(1 / scale)
    assert how.turn == pytest.approx(-turn, abs=1e-6)
    matrix = np.array(how.matrix)
    np.testing.assert_allclose(np.asarray(later.path) @ matrix[:, :2].T + matrix[:, 2], PATH, atol=1e-6)


def test_the_picture_follows_the_marks() -> None:
    codes = photograph(scene()).encoded
    move = cv2.getRotationMatrix2D((450, 550), 6.0, 0.9)
    later = cv2.warpAffine(codes, move, (900, 1100), flags=cv2.INTER_AREA, borderValue=(10, 10, 10))
    path, corners = (tuple(map(tuple, np.asarray(points) @ move[:, :2].T + move[:, 2])) for points in (PATH, CARD))
    how = align(ribbon(), dataclasses.replace(ribbon(), path=path, corners=corners))
    assert how is not None
    back = aligned_picture(later, (900, 1100), (900, 1100), how, 1100)
    assert back.shape == codes.shape
    # the same pixels again, but for what resampling twice blurs
    inner = np.s_[200:900, 150:760]
    assert np.abs(back[inner].astype(float) - codes[inner]).mean() < 4
    # structural similarity (Wang et al. 2004, IEEE Trans Image Process 13:600) by scikit-image: 1 for the same picture
    alike, unmoved = (structural_similarity(shown[inner], codes[inner], channel_axis=2) for shown in (back, later))
    assert unmoved < 0.8 < 0.98 < alike
    # a picture served at half size shows the same at half size
    half = cv2.resize(later, (450, 550), interpolation=cv2.INTER_AREA)
    small = aligned_picture(half, (900, 1100), (900, 1100), how, 550)
    expected = cv2.resize(back, (450, 550), interpolation=cv2.INTER_AREA)
    assert np.abs(small[100:450, 75:380].astype(float) - expected[100:450, 75:380]).mean() < 4


def test_a_photo_laid_on_itself_stays_where_it_is_to_the_pixel() -> None:
    how = align(ribbon(), ribbon())
    assert how is not None
    noise = np.random.default_rng(3).integers(0, 256, (1100, 900, 3), dtype=np.uint8)
    np.testing.assert_array_equal(aligned_picture(noise, (900, 1100), (900, 1100), how, 1100), noise)


def test_what_is_not_there_is_mid_grey() -> None:
    how = align(ribbon(), moved(0, 1, (300, 0)))
    assert how is not None
    white = np.full((1100, 900, 3), 255, np.uint8)
    shown = aligned_picture(white, (900, 1100), (900, 1100), how, 1100)
    assert tuple(shown[500, 800]) == SURROUND
    assert tuple(shown[500, 300]) == (255, 255, 255)


@pytest.mark.parametrize(
    "path",
    [
        ((320.0, 940.0), (300.0, 700.0), (310.0, 450.0), (300.0, 150.0)),  # upside down
        ((100.0, 500.0), (800.0, 520.0)),  # across
        ((300.0, 150.0), (600.0, 400.0), (200.0, 700.0), (320.0, 940.0)),  # another shape
        ((300.0, 150.0), (302.0, 330.0)),  # a quarter of the length: with the card's size no longer the same hair
    ],
)
def test_paths_with_little_in_common_are_refused(path: tuple[tuple[float, float], ...]) -> None:
    other = dataclasses.replace(ribbon(), path=path, corners=None)
    assert align(ribbon(), other) is None


def of(file: str) -> Marks:
    photo = TRUTH[file]
    card = photo["card"]
    return Marks(card["kind"], tuple(map(tuple, card["corners"])), tuple(map(tuple, photo["path"])), photo["width"])


def crown(picture: np.ndarray) -> np.ndarray:
    """The upper head, which no service touched: what is darker than the wall above the shoulders."""
    grey = cv2.GaussianBlur(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), (0, 0), 3)
    return grey[60:520, 200:720] < 120


def test_rendered_heads_come_to_lie_on_each_other() -> None:
    """The outline of the head is no part of the marks, so it tells whether the photo was moved rightly."""
    first, second = "noor_before_daylight.jpg", "noor_after_daylight.jpg"
    how = align(of(first), of(second))
    assert how is not None
    assert how.size == pytest.approx(1.0, abs=0.05)
    earlier, later = (cv2.imread(str(sample_photo(file))) for file in (first, second))
    size = tuple(TRUTH[first]["size"])
    laid = aligned_picture(later, size, size, how, 1408)

    def apart(picture: np.ndarray) -> int:
        return int(np.count_nonzero(crown(picture) != crown(earlier)))

    assert apart(laid) < 0.5 * apart(later)


def test_hair_that_grew_is_shown_longer_not_smaller() -> None:
    how = align(of("noor_before_daylight.jpg"), of("noor_month_6_0.jpg"))
    assert how is not None
    # the renderer's cameras stand equally far away: the card has one size in both photos
    assert how.size == pytest.approx(1.0, abs=0.02)
    matrix = np.array(how.matrix)
    tip = np.array(of("noor_month_6_0.jpg").path[-1]) @ matrix[:, :2].T + matrix[:, 2]
    assert tip[1] > of("noor_before_daylight.jpg").path[-1][1] + 100


def test_the_way_along_cut_hair_is_counted_from_the_root() -> None:
    from tracker.compare.alignment import way_ratio

    before, month = of("noor_before_daylight.jpg"), of("noor_month_6_0.jpg")
    assert way_ratio(before, of("noor_after_daylight.jpg")) == 1.0
    # truth: the renderer's distances along the hair, 37.0 and 43.6 cm of path
    lengths = [TRUTH[name]["path_arc_cm"] for name in ("noor_before_daylight.jpg", "noor_month_6_0.jpg")]
    true = (lengths[0][-1] - lengths[0][0]) / (lengths[1][-1] - lengths[1][0])
    assert way_ratio(before, month) == pytest.approx(true, rel=0.03)
    assert way_ratio(month, before) == pytest.approx(1 / true, rel=0.03)


def test_another_card_leaves_the_path_to_decide() -> None:
    before, month = of("noor_before_daylight.jpg"), of("noor_month_6_0.jpg")
    small, large = (
        dataclasses.replace(before, size_mm=(84.0, 116.0)),
        dataclasses.replace(month, size_mm=(100.0, 140.0)),
    )
    by_path = align(small, large)
    assert by_path is not None
    assert by_path.size == pytest.approx(0.83, abs=0.02)
    # a size that only one of them has says nothing against its being the same card
    assert align(small, month) == align(before, month)
    chart = align(of("noor_before_daylight.jpg"), of("noor_after_chart.jpg"))
    assert chart is not None
    assert chart.size == pytest.approx(1.0, abs=0.05)


def test_a_profile_of_cut_hair_keeps_its_distance_from_the_root() -> None:
    before, month = of("noor_before_daylight.jpg"), of("noor_month_6_0.jpg")
    profile = tuple(ProfilePoint(way, (30.0 + way, 5.0, 15.0), 0.5) for way in (0.0, 0.5, 0.9, 1.0))
    # truth: the renderer's distances along the hair, 37.0 cm of path before and 43.6 cm later
    lengths = [TRUTH[name]["path_arc_cm"] for name in ("noor_before_daylight.jpg", "noor_month_6_0.jpg")]
    true = (lengths[0][-1] - lengths[0][0]) / (lengths[1][-1] - lengths[1][0])
    grown = on_the_later_way(profile, before, month)
    assert [point.position for point in grown] == pytest.approx([true * way for way in (0.0, 0.5, 0.9, 1.0)], rel=0.03)
    assert [point.lab for point in grown] == [point.lab for point in profile]
    # the other way round the hair was cut: what lay beyond the later tip is gone
    cut = on_the_later_way(profile, month, before)
    assert [point.position for point in cut] == pytest.approx([0.0, 0.5 / true], rel=0.03)
    assert on_the_later_way(profile, before, before) == profile
