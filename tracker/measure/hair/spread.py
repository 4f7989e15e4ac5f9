"""How light and dark the hair is from piece to piece, for a chart of its lights and lows."""

from __future__ import annotations

import numpy as np

from tracker.maths.colorimetry import Floats, lightness, luminance
from tracker.measure.hair.bands import PIECES
from tracker.measure.hair.select import KEPT

STRETCHES = 10
"""Stretches of the path; leaving out one at a time shows the uncertainty of the whole."""

STEPS = 20
"""Even steps between the darkest and the lightest piece of a stretch."""


def stretches(linear: Floats, verdict: np.ndarray, pieces: int = PIECES) -> tuple[tuple[float, ...], ...]:
    """Quantiles of the L* of small pieces of body hair, stretch by stretch from root to tip.

    Parameters
    ----------
    linear : (n, m, 3), balanced
    verdict : (n, m) uint8, see `tracker.measure.hair.select`
    pieces : int, side by side across the strip

    Returns
    -------
    for each stretch, `STEPS` + 1 quantiles from the darkest piece to the lightest, L*; none where too little was kept
    """
    light = luminance(linear)
    kept = verdict == KEPT
    across = min(pieces, kept.shape[1] // 2)
    side = max(kept.shape[1] // max(across, 1), 2)
    found = []
    for rows in np.array_split(np.arange(len(light)), STRETCHES):
        values = _pieces(light[rows], kept[rows], side)
        enough = len(values) >= STEPS // 2
        quantiles = np.quantile(values, np.linspace(0, 1, STEPS + 1)) if enough else ()
        found.append(tuple(round(float(value), 2) for value in quantiles))
    return tuple(found)


def _pieces(light: Floats, kept: np.ndarray, side: int) -> Floats:
    """L* of square pieces that are at least half body hair."""
    tall, wide = (size // side * side for size in kept.shape)
    if not tall or not wide:
        return np.empty(0)

    def total(array: Floats) -> Floats:
        return np.asarray(array[:tall, :wide].reshape(tall // side, side, wide // side, side).sum(axis=(1, 3)))

    count = total(kept.astype(float))
    mean = total(np.where(kept, light, 0.0)) / np.maximum(count, 1)
    return lightness(mean[count >= side * side / 2])
