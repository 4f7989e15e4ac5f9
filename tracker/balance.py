"""From a card's reading to a correction, and the correction applied.

One grey fixes the light's colour and the exposure: gains in linear light. Three steps also undo the camera's
contrast and the stray light of lens and room. A chart does both and allows a matrix that keeps white white.

Chosen on the truth bench (`tests/bench`), where gains in sharpened spaces, other tone curves, matrices weighted near
hair, fits in CIELAB and root polynomials were no better.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.colorimetry import Floats, linear_to_lab, luminance
from tracker.errors import CardImplausible
from tracker.quantities import Vector3, matrix3, vector3
from tracker.reading import Correction
from tracker.reference_card import CardReading, reference_values


def correction_from_card(card: CardReading, reflectance: float | None = None) -> Correction:
    """The correction that makes the card read its own reflectance.

    Parameters
    ----------
    card : what the card reads
    reflectance : float or None, replaces the grey's nominal reflectance, 0..1

    Raises
    ------
    CardImplausible : where the steps of a strip fit no correction
    """
    reference = reference_values(card.kind, reflectance)
    if card.kind.name == "steps3":
        return _tone_correction(card, reference)
    if card.kind.name == "chart24":
        return _chart_correction(card, reference)
    return Correction(card.kind.name, _toned_gains(card, reference, 1.0, 0.0))


def _tone_correction(card: CardReading, reference: Floats) -> Correction:
    """Gains, one exponent and one stray light from white, grey and black, by least squares in L*."""
    exponent, flare = _tone(card, reference, (0, 1, 2), hold=0.0)
    toned = Correction(card.kind.name, _toned_gains(card, reference, exponent, flare), flare, exponent)
    missed = _lightness(luminance(apply(toned, card.linear))) - _lightness(luminance(reference))
    off = float(np.abs(missed).max())
    if off > _LARGEST_MISS:
        raise CardImplausible(
            f"White, grey and black of the strip do not fit one another: a step is {off:.0f} L* off "
            f"(limit {_LARGEST_MISS:.0f}).",
            "Check that the corners lie on the strip and that no step is in shadow or shines.",
            value=off,
            limit=_LARGEST_MISS,
            unit="L*",
        )
    return replace(toned, misfit=(float(np.sqrt(np.mean(np.square(missed)))), 0.0, 0.0))


_EXPONENTS = (0.5, 2.0)  # beyond these the steps were not a strip, or the photo was edited
_LARGEST_MISS = 5.0  # L*: the strongest contrast on the truth bench leaves 2.8
_MOST_STRAY = 0.1
_DARKEST = 1e-6


def _toned_gains(card: CardReading, reference: Floats, exponent: float, flare: float) -> Vector3:
    """Gains with which the grey comes out at its reflectance after exponent and stray light."""
    grey = np.maximum(card.linear[card.kind.grey], _DARKEST)
    return vector3((reference[card.kind.grey] + flare) ** (1 / exponent) / grey)


def _tone(card: CardReading, reference: Floats, which: tuple[int, ...], hold: float) -> tuple[float, float]:
    """Exponent and stray light that bring neutral patches to their own L*; `hold` is the L* by which e draws to 1."""
    from scipy.optimize import least_squares  # imported late: only strips and charts need it

    seen, wanted = card.linear[list(which)], _lightness(luminance(reference[list(which)]))

    def miss(tone: Floats) -> Floats:
        exponent, flare = float(np.exp(tone[0])), float(tone[1])
        gains = np.asarray(_toned_gains(card, reference, exponent, flare))
        light = luminance(np.maximum(seen * gains, 0) ** exponent - flare)
        return np.append(_lightness(light) - wanted, hold * tone[0])

    low, high = np.log(_EXPONENTS)
    found = least_squares(miss, (0.0, 0.002), bounds=((low, 0.0), (high, _MOST_STRAY)), x_scale=(0.1, 0.01))
    return float(np.exp(found.x[0])), float(found.x[1])


def _lightness(light: Floats) -> Floats:
    """L* of greys of these luminances; below zero it goes on in a straight line."""
    return np.asarray(linear_to_lab(np.repeat(np.asarray(light, float)[..., None], 3, -1))[..., 0])


_NEUTRALS = (19, 20, 21, 22, 23)  # the white patch is not neutral
_HOLD = 2.0  # L*: five greys do not tell a small exponent from stray light


def _chart_correction(card: CardReading, reference: Floats) -> Correction:
    """Tone from the greys, then least squares on the unclipped patches with rows that sum to one."""
    greys = tuple(patch for patch in _NEUTRALS if card.usable[patch])
    exponent, flare = _tone(card, reference, greys, _HOLD) if len(greys) >= 3 else (1.0, 0.0)
    toned = Correction(card.kind.name, _toned_gains(card, reference, exponent, flare), flare, exponent)
    seen, wanted = apply(toned, card.linear)[card.usable], reference[card.usable]
    matrix = _white_keeping(seen, wanted)
    return replace(toned, matrix=matrix3(matrix), misfit=_misfit(seen @ matrix.T, wanted))


def _white_keeping(seen: Floats, wanted: Floats) -> Floats:
    """The 3 x 3 by least squares whose rows sum to one."""
    # patches differ in size of error with their light, so the fit is in relative terms
    weight = 1 / np.maximum(luminance(wanted), 0.02)
    rows = np.zeros((3, 3))
    for channel in range(3):
        others = [k for k in range(3) if k != channel]
        design = (seen[:, others] - seen[:, [channel]]) * weight[:, None]
        offset = (wanted[:, channel] - seen[:, channel]) * weight
        part, *_ = np.linalg.lstsq(design, offset, rcond=None)
        rows[channel, others], rows[channel, channel] = part, 1 - part.sum()
    return rows


_HAIR = (8.0, 16.0)  # a*, b* in the middle of hair's colours, and how far they reach
_REACH = (15.0, 20.0)


def _misfit(found: Floats, wanted: Floats) -> Vector3:
    """Root mean square by which patches still miss their L*, a*, b*, those near hair's colours counting most."""
    goal = linear_to_lab(wanted)
    away = (goal[:, 1:] - _HAIR) / _REACH
    weight = np.exp(-0.5 * np.square(away).sum(axis=1))
    return vector3(np.sqrt(weight @ np.square(linear_to_lab(found) - goal) / weight.sum()))


def evened(card: CardReading) -> CardReading:
    """The card as if the light on it were that on its grey, and how much the light falls off across it.

    Only a chart's patches tell: a plane through how much too light or dark they come out (EV), fitted robustly and
    believed where it stands out of its own scatter at 1 %. On three of six published photos it halves what the
    chart's own colours are off. Other kinds are given back as they are.
    """
    if card.kind.name != "chart24":
        return card
    level = card
    slopes = np.zeros(2)
    for _ in range(_ROUNDS):
        found = _light_slopes(level)
        if found is None:
            break
        slopes += found
        light = _patch_places(card) @ slopes
        level = replace(card, linear=card.linear / 2 ** light[:, None])
    return replace(level, gradient=max(card.gradient, float(np.abs(slopes).sum())) if slopes.any() else card.gradient)


_ROUNDS = 3  # the tone was fitted on unevenly lit greys, so both are repeated
_CERTAIN = 9.2  # chi-squared of two slopes at 1 %


def _patch_places(card: CardReading) -> Floats:
    """Middles of the patches in the card's unit square, from that of the balancing grey."""
    boxes = np.array(card.kind.boxes)
    middles = (boxes[:, :2] + boxes[:, 2:]) / 2
    return np.asarray(middles - middles[card.kind.grey])


def _light_slopes(card: CardReading) -> Floats | None:
    """Change of light across and down the chart, EV; None where it is not sure."""
    wanted = luminance(reference_values(card.kind))[card.usable]
    seen = luminance(apply(_chart_correction(card, reference_values(card.kind)), card.linear))[card.usable]
    off = np.log2(np.maximum(seen, 1e-4) / wanted)
    design = np.column_stack([np.ones(len(off)), _patch_places(card)[card.usable]])
    start = np.minimum(wanted / 0.05, 1)  # stray light has the most say in dark patches
    weight = start
    for _ in range(3):
        plane, *_ = np.linalg.lstsq(design * weight[:, None], off * weight, rcond=None)
        rest = np.abs(off - design @ plane)
        spread = max(1.4826 * float(np.median(rest)), 1e-6)
        weight = start / np.maximum(1, rest / (2 * spread))
    weighted = design * weight[:, None]
    cov = np.linalg.inv(weighted.T @ weighted)[1:, 1:] * spread**2
    slopes = np.asarray(plane[1:])
    return slopes if float(slopes @ np.linalg.solve(cov, slopes)) > _CERTAIN else None


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
        toned = np.sign(balanced) * np.abs(balanced) ** kind.type(correction.exponent)
        balanced = toned - kind.type(correction.flare)
    matrix = np.asarray(correction.matrix, kind)
    if np.array_equal(matrix, np.eye(3)):
        return np.asarray(balanced)
    return np.asarray(balanced @ matrix.T)
