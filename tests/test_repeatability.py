"""Scatter between photos of the same hair, against published studies of other gauges."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.repeatability import (
    PROVISIONAL,
    mdc95,
    photos_needed,
)


class TestSmallestChange:
    def test_single_photos(self) -> None:
        # Weir 2005: 1.96 times the root of two, 2.77 times the spread
        assert mdc95(0.8) == pytest.approx(2.77 * 0.8, abs=0.005)

    def test_few_degrees_of_freedom_cost(self) -> None:
        # t 2.23 at 10 degrees of freedom (JCGM 100:2008, table G.2)
        assert mdc95(1.0, 3, 3, dof=10) == pytest.approx(2.23 * math.sqrt(2 / 3), abs=0.005)

    def test_scatter_alone_rarely_reaches_it(self) -> None:
        rng = np.random.default_rng(3)
        sd, limit = 0.8, mdc95(0.8, 2, 3)
        change = rng.normal(0, sd, (20_000, 2)).mean(axis=1) - rng.normal(0, sd, (20_000, 3)).mean(axis=1)
        assert np.mean(np.abs(change) > limit) == pytest.approx(0.05, abs=0.006)

    def test_photos_by_hand(self) -> None:
        # 2 (1.96 x 0.8 / 1)² = 4.92
        assert photos_needed(0.8, 1.0) == 5
        assert photos_needed(0.0, 1.0) == 1

    @given(st.floats(0.01, 5), st.floats(0.2, 10))
    def test_that_many_are_enough_and_one_less_is_not(self, sd: float, margin: float) -> None:
        n = photos_needed(sd, margin)
        assert mdc95(sd, n, n) <= margin * (1 + 1e-6)
        if n > 1:
            assert mdc95(sd, n - 1, n - 1) > margin

    @pytest.mark.parametrize(("sd", "margin"), [(1.0, 0.0), (-1.0, 1.0), (math.nan, 1.0), (1.0, math.nan)])
    def test_refuses(self, sd: float, margin: float) -> None:
        with pytest.raises(ValueError, match="margin"):
            photos_needed(sd, margin)

    def test_refuses_no_photos(self) -> None:
        with pytest.raises(ValueError, match="photos"):
            mdc95(1.0, 0, 1)


def test_provisional_says_so() -> None:
    assert PROVISIONAL.provisional
    assert "Scanavez et al. 2000" in PROVISIONAL.source
