"""Lengths and places along a line of points, by hand and by SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import make_interp_spline

from tracker.maths import polyline

# two sides of right triangles with whole-numbered sides: 3, 4, 5 and 5, 12, 13
LINE = ((0.0, 0.0), (3.0, 4.0), (8.0, 16.0))


def test_by_hand() -> None:
    assert polyline.steps(LINE).tolist() == [5.0, 13.0]
    assert polyline.reached(LINE).tolist() == [0.0, 5.0, 18.0]
    assert polyline.length(LINE) == 18.0
    assert polyline.sides([(0, 0), (3, 0), (3, 4)]).tolist() == [3.0, 4.0, 5.0]
    np.testing.assert_allclose(polyline.places(LINE, [2.5, 11.5]), [(1.5, 2.0), (5.5, 10.0)])


def test_before_the_beginning_and_past_the_end_it_stays_there() -> None:
    np.testing.assert_array_equal(polyline.places(LINE, [-1.0, 99.0]), [LINE[0], LINE[-1]])


def test_a_single_point_has_no_length() -> None:
    assert polyline.length([(3.0, 4.0)]) == 0.0
    assert polyline.length([]) == 0.0


@pytest.mark.parametrize("seed", range(3))
def test_against_scipys_linear_spline(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points = np.cumsum(rng.normal(size=(9, 2)), axis=0)
    reached = np.concatenate([[0], np.cumsum([np.hypot(*step) for step in np.diff(points, axis=0)])])
    at = rng.uniform(0, reached[-1], (4, 5))
    np.testing.assert_allclose(polyline.length(points), reached[-1], rtol=1e-12)
    np.testing.assert_allclose(polyline.places(points, at), make_interp_spline(reached, points, k=1)(at), atol=1e-9)


def test_how_far_a_point_was_moved_along_either_axis() -> None:
    before = [(10.0, 20.0), (30.0, 40.0)]
    assert polyline.moved(before, before) == 0
    # by hand: the second point went 3 to the left and 4 down, so no coordinate went further than 4
    assert polyline.moved(before, [(10.5, 20.0), (27.0, 44.0)]) == 4
    assert polyline.moved([(27.0, 44.0)], [(30.0, 40.0)]) == 4


def test_a_small_drawing_fills_its_box() -> None:
    points = polyline.in_box([0.0, 1.0, 4.0], [5.0, 9.0, 6.0], 160.0, 44.0, 5.0)
    # by hand: 150 by 34 within the edges, and y runs down
    assert points == [(5.0, 39.0), (42.5, 5.0), (155.0, 30.5)]
    # nothing to spread lies on the lower edge, at the left
    assert polyline.in_box([2.0, 2.0], [7.0, 7.0], 160.0, 44.0, 5.0) == [(5.0, 39.0), (5.0, 39.0)]
