"""Candidate corrections of the chart, as in ``corrections``.

References
----------
[RPC] Finlayson, Mackiewicz, Hurlbert 2015, IEEE Trans Image Process 24:1460-1470: root-polynomial correction.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from scipy.optimize import least_squares

from tests.bench.corrections import GREY, STRIP, Candidate, Correct, current, gains, grey_gains, tone_fit, with_tone
from tests.bench.spectra import chart, to_linear
from tracker.colorimetry import Floats, linear_to_lab, luminance
from tracker.reference_card import CardReading

NEUTRALS = (19, 20, 21, 22, 23)  # the white patch is not neutral


def measured_reference(reference: Floats) -> Floats:
    """Values from the average reflectances of measured charts under D65, not from a table for D50."""
    return np.asarray(chart() @ to_linear()) if len(reference) == 24 else reference


def _fit(balanced: Floats, wanted: Floats, weight: Floats, hold: float = 0.0) -> Floats:
    """White-preserving 3 x 3; `hold` pulls it to the identity, relative to the patches' own say."""
    rows = []
    for channel in range(3):
        others = [k for k in range(3) if k != channel]
        design = (balanced[:, others] - balanced[:, [channel]]) * weight[:, None]
        offset = (wanted[:, channel] - balanced[:, channel]) * weight
        square = design.T @ design
        part = np.linalg.solve(square + hold * np.trace(square) / 2 * np.eye(2), design.T @ offset)
        row = np.zeros(3)
        row[others], row[channel] = part, 1 - part.sum()
        rows.append(row)
    return np.array(rows)


def _relative(wanted: Floats, power: float = 1.0) -> Floats:
    return np.asarray(1 / np.maximum(luminance(wanted), 0.02) ** power)


def _first(card: CardReading, wanted: Floats, tone: bool) -> Correct:
    """Gains on the middle grey, or a tone correction on all usable neutrals."""
    if not tone:
        return gains(card, wanted)
    usable = tuple(i for i in NEUTRALS if card.usable[i])
    return with_tone(card, wanted, *tone_fit(card, wanted, usable, hold=2.0))


def hair_weight(wanted: Floats) -> Floats:
    """More say for patches near the colours of hair: dark to light, a* 0 to 20, b* 0 to 30."""
    lab = linear_to_lab(wanted)
    away = np.hypot((lab[:, 1] - 7) / 15, (lab[:, 2] - 15) / 20)
    return _relative(wanted, 1.0) * (0.1 + np.exp(-0.5 * away**2))


def matrix3x3(
    card: CardReading,
    reference: Floats,
    weigh: Callable[[Floats], Floats] | None = None,
    hold: float = 0.0,
    tone: bool = False,
    measured: bool = False,
) -> Correct:
    """Gains, or a tone correction on the neutrals, then a white-preserving matrix on the usable patches."""
    wanted = measured_reference(reference) if measured else reference
    first = _first(card, wanted, tone)
    balanced, wanted = first(card.linear)[card.usable], wanted[card.usable]
    matrix = _fit(balanced, wanted, (weigh or _relative)(wanted), hold)
    return lambda linear: first(linear) @ matrix.T


def lab_fit(card: CardReading, reference: Floats, tone: bool = False, measured: bool = False) -> Correct:
    """As `matrix3x3`, then improved by least squares on L*, a*, b* (robust: absolute beyond 2)."""
    wanted = measured_reference(reference) if measured else reference
    first = _first(card, wanted, tone)
    balanced, goal = first(card.linear)[card.usable], linear_to_lab(wanted[card.usable])
    start = _fit(balanced, wanted[card.usable], _relative(wanted[card.usable], 1.0))

    def matrix(x: Floats) -> Floats:
        rows = np.zeros((3, 3))
        for channel in range(3):
            others = [k for k in range(3) if k != channel]
            rows[channel, others] = x[2 * channel : 2 * channel + 2]
            rows[channel, channel] = 1 - rows[channel].sum()
        return rows

    begin = [start[c, k] for c in range(3) for k in range(3) if k != c]
    chroma = 1 + 0.045 * np.hypot(goal[:, 1], goal[:, 2])
    scale = np.stack([np.ones_like(chroma), chroma, chroma], -1)
    found = least_squares(
        lambda x: ((linear_to_lab(balanced @ matrix(x).T) - goal) / scale).ravel(), begin, loss="soft_l1", f_scale=2.0
    )
    best = matrix(found.x)
    return lambda linear: first(linear) @ best.T


def _roots(linear: Floats) -> Floats:
    r, g, b = np.moveaxis(np.maximum(linear, 0), -1, 0)
    return np.stack([*np.moveaxis(linear, -1, 0), np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], -1)


def root_polynomial(card: CardReading, reference: Floats, hold: float = 1e-3) -> Correct:
    """Second order [RPC], white kept by taking every term less the first channel's; relative weights."""
    scale = grey_gains(card, reference)
    balanced, wanted = (card.linear * scale)[card.usable], reference[card.usable]
    weight, terms = _relative(wanted, 1.0), _roots(balanced)
    columns = []
    for channel in range(3):
        others = [k for k in range(6) if k != channel]
        design = (terms[:, others] - terms[:, [channel]]) * weight[:, None]
        offset = (wanted[:, channel] - terms[:, channel]) * weight
        square = design.T @ design
        part = np.linalg.solve(square + hold * np.trace(square) / 5 * np.eye(5), design.T @ offset)
        column = np.zeros(6)
        column[others], column[channel] = part, 1 - part.sum()
        columns.append(column)
    matrix = np.array(columns)
    return lambda linear: _roots(linear * scale) @ matrix.T


CHART: dict[str, Candidate] = {
    "current": current,
    "grey alone": gains,
    "3x3 unweighted": partial(matrix3x3, weigh=partial(_relative, power=0.0)),
    "3x3 half relative": partial(matrix3x3, weigh=partial(_relative, power=0.5)),
    "3x3 held 0.01": partial(matrix3x3, hold=0.01),
    "3x3 held 0.1": partial(matrix3x3, hold=0.1),
    "3x3 near hair": partial(matrix3x3, weigh=hair_weight),
    "3x3 in Lab": lab_fit,
    "root polynomial": root_polynomial,
    "tone, 3x3": partial(matrix3x3, tone=True),
    "tone, 3x3 near hair": partial(matrix3x3, weigh=hair_weight, tone=True),
    "tone, 3x3 in Lab": partial(lab_fit, tone=True),
    "3x3, measured reference": partial(matrix3x3, measured=True),
    "tone, 3x3, measured reference": partial(matrix3x3, tone=True, measured=True),
    "tone, 3x3 in Lab, measured reference": partial(lab_fit, tone=True, measured=True),
}
CANDIDATES: dict[str, dict[str, Candidate]] = {"grey18": GREY, "steps3": STRIP, "chart24": CHART}
