"""From a card's reading to a correction, and the correction applied.

One grey fixes the light's colour and the exposure: gains in linear light. Three steps also undo the camera's
contrast and the stray light of lens and room. A chart allows a matrix that keeps white white.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.colorimetry import Floats, luminance
from tracker.errors import CardImplausible
from tracker.quantities import matrix3, vector3
from tracker.reading import Correction
from tracker.reference_card import CardReading, reference_values

_EXPONENTS = (0.5, 2.0)  # beyond these the three steps were not a strip, or the photo was edited


def correction_from_card(card: CardReading, reflectance: float | None = None) -> Correction:
    """The correction that makes the card read its own reflectance.

    Parameters
    ----------
    card : what the card reads
    reflectance : float or None, replaces the grey's nominal reflectance, 0..1

    Raises
    ------
    CardImplausible : where the patches fit no correction
    """
    reference = reference_values(card.kind, reflectance)
    grey = np.maximum(card.linear[card.kind.grey], 1e-6)
    gains = reference[card.kind.grey] / grey
    if card.kind.name == "steps3":
        return _tone_correction(card, reference)
    if card.kind.name == "chart24":
        return _chart_correction(card, reference, gains)
    return Correction(card.kind.name, vector3(gains))


def _tone_correction(card: CardReading, reference: Floats) -> Correction:
    """Gains, one flare and one exponent from white, grey and black.

    The camera is taken as ``photo = ((reflectance + flare) / gain) ** (1 / exponent)`` up to a scale: the exponent
    that lets all three luminances fit is found by bisection; it always exists between the limits or the strip is
    refused.
    """
    seen = np.asarray(luminance(card.linear), float)
    want = reference.mean(axis=1)
    target = (want[0] - want[1]) / (want[1] - want[2])

    def excess(exponent: float) -> float:
        w, g, b = seen**exponent
        return float((w - g) / (g - b) - target)

    low, high = _EXPONENTS
    if not excess(low) < 0 < excess(high):
        raise CardImplausible(
            "White, grey and black of the strip do not fit any camera contrast.",
            "Check that the corners lie on the strip and that no step is in shadow or shines.",
        )
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle) < 0 else (low, middle)
    exponent = (low + high) / 2
    w, g, b = seen**exponent
    scale = (want[0] - want[2]) / (w - b)
    flare = max(float(scale * g - want[1]), 0.0)
    grey = np.maximum(card.linear[card.kind.grey], 1e-6)
    # per channel the grey must come out at its reflectance after flare and exponent
    gains = (want[1] + flare) ** (1 / exponent) / grey
    return Correction(card.kind.name, vector3(gains), flare, exponent)


def _chart_correction(card: CardReading, reference: Floats, gains: Floats) -> Correction:
    """Gains on the middle grey, then least squares on the unclipped patches with rows that sum to one."""
    balanced = (card.linear * gains)[card.usable]
    wanted = reference[card.usable]
    # patches differ in size of error with their light, so the fit is in relative terms
    weight = 1 / np.maximum(luminance(wanted), 0.02)
    rows = []
    for channel in range(3):
        others = [k for k in range(3) if k != channel]
        design = (balanced[:, others] - balanced[:, [channel]]) * weight[:, None]
        offset = (wanted[:, channel] - balanced[:, channel]) * weight
        part, *_ = np.linalg.lstsq(design, offset, rcond=None)
        row = np.zeros(3)
        row[others] = part
        row[channel] = 1 - part.sum()
        rows.append(row)
    return Correction(card.kind.name, vector3(gains), matrix=matrix3(rows))


def apply(correction: Correction, linear: NDArray[Any]) -> Floats:
    """Linear light under the standard white.

    Parameters
    ----------
    linear : (..., 3), linear sRGB primaries, as photographed

    Returns
    -------
    (..., 3), unclipped; the dtype follows `linear`
    """
    kind = linear.dtype if np.issubdtype(linear.dtype, np.floating) else np.dtype(float)
    balanced = linear * np.asarray(correction.gains, kind)
    if correction.exponent != 1.0 or correction.flare != 0.0:
        balanced = np.maximum(balanced, 0) ** kind.type(correction.exponent) - kind.type(correction.flare)
    matrix = np.asarray(correction.matrix, kind)
    if np.array_equal(matrix, np.eye(3)):
        return np.asarray(balanced)
    return np.asarray(balanced @ matrix.T)
