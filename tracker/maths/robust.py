"""Scatter that a few strangers among the values do not change."""

from __future__ import annotations

import numpy as np

from tracker.maths.colorimetry import Floats

# 1 / the quantile of the normal distribution at 3/4: with it the median distance is the standard deviation of normal
# values (Rousseeuw & Croux 1993, J Am Stat Assoc 88:1273; from memory)
_TO_SIGMA = 1.4826


def robust_sd(off: Floats) -> Floats:
    """Standard deviation, (...,), of values whose distances from their centre are `off`, (n, ...)."""
    return np.asarray(_TO_SIGMA * np.median(np.abs(off), axis=0))
