"""Robust scatter against SciPy's own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import median_abs_deviation

from tracker.maths.robust import robust_sd


def test_it_agrees_with_scipy_and_ignores_strangers() -> None:
    values = np.random.default_rng(3).normal(5.0, 2.0, (5000, 2))
    off = values - np.median(values, axis=0)
    np.testing.assert_allclose(robust_sd(off), median_abs_deviation(values, scale="normal"), rtol=1e-5)
    assert robust_sd(off) == pytest.approx([2.0, 2.0], rel=0.05)  # the true one
    values[:500] += 1000.0
    assert robust_sd(values - np.median(values, axis=0)) == pytest.approx([2.3, 2.3], rel=0.1)
