"""Quantiles and probabilities of mixtures of normal distributions, many mixtures at a time."""

from __future__ import annotations

import math

import numpy as np

from tracker.maths.uncertainty import Array

_STEPS = 60  # bisection alone reaches floating point precision in about 50, Newton's method in fewer than 10


def mixture_quantile(weights: Array, mean: Array, sd: Array, probability: float) -> Array:
    """Quantile of each mixture.

    Parameters
    ----------
    weights : (K,), sum to 1
    mean, sd : (T, K), sd >= 0
    probability : float, 0..1 exclusive

    Returns
    -------
    (T,) array

    Notes
    -----
    Newton's method inside a bracket: the quantile of a mixture lies between the smallest and the largest
    quantile of its parts.
    """
    from scipy.special import ndtr, ndtri  # imported late: keeps `import tracker` light

    if not 0 < probability < 1:
        raise ValueError(f"the probability must lie between 0 and 1, got {probability}")
    parts = mean + float(ndtri(probability)) * sd
    low, high = parts.min(axis=1), parts.max(axis=1)
    width = np.maximum(sd, 1e-12 * (1.0 + np.abs(mean)))
    tolerance = 1e-10 * (1.0 + np.abs(low) + np.abs(high))
    x: Array = parts @ weights
    moved = high - low
    for _ in range(_STEPS):
        standard = (x[:, None] - mean) / width
        excess = ndtr(standard) @ weights - probability
        density = (np.exp(-0.5 * standard**2) / width) @ weights / math.sqrt(2 * math.pi)
        low, high = np.where(excess < 0, x, low), np.where(excess < 0, high, x)
        newton = x - excess / np.maximum(density, 1e-300)
        # steps that do not shrink by half can go round in a circle between two parts
        closes_in = (newton >= low) & (newton <= high) & (np.abs(newton - x) <= moved / 2)
        following = np.where(closes_in, newton, (low + high) / 2)
        moved = np.abs(following - x)
        x = following
        if np.all(moved < tolerance):
            break
    return x
