"""The outline: what is a polygon, and what lies inside."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.errors import InvalidOutline
from tracker.measure.hair.outline import FEWEST, MOST, Outline, outline_about


def star(radii: list[float], centre: tuple[float, float] = (500.0, 500.0), turn: float = 0.0) -> np.ndarray:
    """Points seen from a centre at even angles: never crossing, whatever the radii."""
    angles = turn + 2 * np.pi * np.arange(len(radii)) / len(radii)
    return np.asarray(centre) + np.asarray(radii)[:, None] * np.stack([np.cos(angles), np.sin(angles)], -1)


def as_points(places: np.ndarray) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in places)


radii = st.lists(st.floats(60.0, 400.0), min_size=FEWEST, max_size=MOST)


@given(radii, st.floats(0.0, 6.28))
def test_star_shaped_polygons_are_outlines_and_hold_their_centre(lengths, turn):
    outline = Outline(as_points(star(lengths, turn=turn)))
    assert outline.holds(500.0, 500.0)
    assert not outline.holds(1000.0, 1000.0)


@given(radii.filter(lambda r: len(r) >= 4), st.floats(0.0, 6.28), st.data())
def test_two_points_changed_places_cross(lengths, turn, data):
    places = star([200.0] * len(lengths), turn=turn)  # convex: any change of order crosses
    first = data.draw(st.integers(0, len(places) - 1))
    order = list(range(len(places)))
    order[first], order[first - 1] = order[first - 1], order[first]
    with pytest.raises(InvalidOutline, match="crosses itself"):
        Outline(as_points(places[order]))


@given(radii, st.integers(0, 2**32 - 1))
def test_inside_is_what_opencv_finds_inside(lengths, seed):
    places = star(lengths)
    x, y = np.random.default_rng(seed).uniform(50, 950, (2, 50))
    polygon = places.astype(np.float32)
    distance = np.array([cv2.pointPolygonTest(polygon, (float(a), float(b)), True) for a, b in zip(x, y, strict=True)])
    clear = np.abs(distance) > 0.01
    assert np.array_equal(Outline(as_points(places)).holds(x, y)[clear], distance[clear] > 0)


@given(radii)
def test_the_area_is_opencvs(lengths):
    places = star(lengths)
    assert Outline(as_points(places)).area == pytest.approx(cv2.contourArea(places.astype(np.float32)), rel=1e-3)


def test_places_keep_their_shape():
    assert Outline(((0, 0), (100, 0), (100, 100), (0, 100))).holds(np.zeros((3, 1)) + 50, np.zeros(4) + 50).shape == (
        3,
        4,
    )


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([(0, 0), (100, 100)], "2 points, it needs at least 3"),
        (as_points(star([200.0] * 17)), "17 points (at most 16)"),
        ([(0, 0), (100, 0), (np.nan, 100)], "without two coordinates"),
        ([(0, 0), (100, 0), (np.inf, 100)], "without two coordinates"),
        ([(0, 0), (100, 100), (100, 0), (0, 100)], "crosses itself"),
        ([(0, 0), (100, 0), (100, 0), (0, 100)], "crosses itself"),
        ([(0, 0), (200, 0), (100, 0), (100, 90)], "crosses itself"),
        ([(0, 0), (200, 0), (200, 200), (100, 0), (0, 200)], "crosses itself"),
        ([(0, 0), (10, 0), (10, 10), (0, 10)], "100 pixels (at least 2500)"),
    ],
)
def test_what_is_no_outline_is_refused_in_words(points, says):
    with pytest.raises(InvalidOutline) as refused:
        Outline(tuple(points))
    assert says in refused.value.message
    assert refused.value.advice


def test_a_plain_outline_lies_about_the_path_a_fifth_of_the_photo_wide():
    path = ((400.0, 200.0), (420.0, 500.0), (400.0, 900.0))
    outline = Outline(outline_about(path, (1000, 1400)))
    assert outline.holds(np.array([x for x, _ in path]), np.array([y for _, y in path])).all()
    # 200 wide over 700 and a twentieth of that at each end
    assert outline.area == pytest.approx(200 * 700 * 1.1)


@given(st.lists(st.tuples(st.floats(0, 900), st.floats(0, 1100)), min_size=2, max_size=16))
def test_a_plain_outline_is_one_wherever_somebody_taps(path):
    places = outline_about(tuple(path), (900, 1100))
    outline = Outline(places)
    assert all(0 <= x <= 900 and 0 <= y <= 1100 for x, y in outline.points)


@pytest.mark.parametrize("path", [((5.0, 5.0),) * 3, ((0.0, 0.0), (0.0, 1.0)), ((900.0, 1100.0), (899.0, 1100.0))])
def test_a_plain_outline_in_a_corner_is_one(path):
    assert Outline(outline_about(path, (900, 1100))).area >= 2500
