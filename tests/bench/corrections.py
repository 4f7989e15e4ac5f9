"""Candidate corrections of grey card and strip: from a card's reading and its reference to a function of linear light.

Each takes what ``tracker.balance`` takes, so that all see the same photos; nothing of the program is changed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
from scipy.optimize import least_squares, minimize_scalar

from tests.bench.spectra import fitted_matrix
from tracker.balance import apply, correction_from_card
from tracker.colorimetry import ADAPTATION, RGB_TO_XYZ, Floats, linear_to_lab, luminance
from tracker.reference_card import CardReading

Correct = Callable[[Floats], Floats]
Candidate = Callable[[CardReading, Floats], Correct]


def current(card: CardReading, reference: Floats) -> Correct:
    """What the program does now."""
    own = None if card.kind.name == "chart24" else float(reference[card.kind.grey].mean())
    return partial(apply, correction_from_card(card, own))


def grey_gains(card: CardReading, reference: Floats) -> Floats:
    """Gain of each channel that makes the grey read its reference."""
    return np.asarray(reference[card.kind.grey] / np.maximum(card.linear[card.kind.grey], 1e-6))


def gains(card: CardReading, reference: Floats) -> Correct:
    """Gains in linear sRGB on the grey alone."""
    scale = grey_gains(card, reference)
    return lambda linear: linear * scale


def gains_in(space: Floats, card: CardReading, reference: Floats) -> Correct:
    """Gains in another space; `space` is the matrix from linear sRGB into it."""
    grey, wanted = card.linear[card.kind.grey], reference[card.kind.grey]
    matrix = np.linalg.solve(space, ((space @ wanted) / (space @ grey))[:, None] * space)
    return lambda linear: linear @ matrix.T


def _cone(name: str) -> Floats:
    return np.asarray(ADAPTATION[name] @ RGB_TO_XYZ)


def _raw(*cameras: int) -> Floats:
    """From linear sRGB into the raw space of a camera, or of the middle of several."""
    return np.linalg.inv(np.mean([fitted_matrix(camera, "D65") for camera in cameras], axis=0))


# --- the three-step strip -------------------------------------------------------------------------------------------


def with_tone(card: CardReading, reference: Floats, exponent: float, flare: float) -> Correct:
    grey = np.maximum(card.linear[card.kind.grey], 1e-6)
    scale = (reference[card.kind.grey] + flare) ** (1 / exponent) / grey
    return lambda linear: np.maximum(linear * scale, 0) ** exponent - flare


def neutral_misfit(
    card: CardReading, reference: Floats, which: tuple[int, ...], exponent: float, flare: float
) -> Floats:
    """Difference in L* of the neutral patches after a tone correction."""
    seen = luminance(with_tone(card, reference, exponent, flare)(card.linear[list(which)]))
    return np.asarray(_lightness(seen) - _lightness(luminance(reference[list(which)])))


def _lightness(light: Floats) -> Floats:
    return np.asarray(linear_to_lab(np.repeat(np.asarray(light)[..., None], 3, -1))[..., 0])


STEPS3 = (0, 1, 2)


def flare_only(card: CardReading, reference: Floats, which: tuple[int, ...] = STEPS3) -> Correct:
    """Stray light alone, the best for all neutrals."""
    found = minimize_scalar(
        lambda f: float(np.square(neutral_misfit(card, reference, which, 1.0, f)).sum()), bounds=(0, 0.1)
    )
    return with_tone(card, reference, 1.0, float(found.x))


def exponent_only(card: CardReading, reference: Floats, which: tuple[int, ...] = STEPS3) -> Correct:
    """Contrast alone, the best for all neutrals."""
    found = minimize_scalar(
        lambda e: float(np.square(neutral_misfit(card, reference, which, e, 0.0)).sum()), bounds=(0.5, 2)
    )
    return with_tone(card, reference, float(found.x), 0.0)


def tone_fit(
    card: CardReading, reference: Floats, which: tuple[int, ...] = STEPS3, hold: float = 0.0, veil: bool = True
) -> tuple[float, float]:
    """Exponent and flare that fit the neutrals in L*; `hold` pulls the exponent to 1 (L* for a doubling)."""

    def rest(x: Floats) -> Floats:
        return np.r_[neutral_misfit(card, reference, which, float(np.exp(x[0])), float(x[1])), hold * x[0]]

    low = 0.0 if veil else -0.05
    found = least_squares(rest, [0.0, 0.002], bounds=([-0.7, low], [0.7, 0.1]), x_scale=[0.1, 0.01])
    return float(np.exp(found.x[0])), float(found.x[1])


def toned(card: CardReading, reference: Floats, hold: float = 0.0, veil: bool = True) -> Correct:
    """Exponent and flare from the three steps, least squares in L*."""
    return with_tone(card, reference, *tone_fit(card, reference, STEPS3, hold, veil))


def each_channel(card: CardReading, reference: Floats) -> Correct:
    """A straight line for each channel through white, grey and black, relative least squares."""
    lines = []
    for channel in range(3):
        seen, wanted = card.linear[:, channel], reference[:, channel]
        design = np.stack([seen, np.ones_like(seen)], -1) / wanted[:, None]
        lines.append(np.linalg.lstsq(design, np.ones_like(seen), rcond=None)[0])
    slope, offset = np.array(lines).T
    return lambda linear: linear * slope + offset


def log_curve(card: CardReading, reference: Floats) -> Correct:
    """A parabola in the logarithm through white, grey and black, the same for each balanced channel."""
    scale = grey_gains(card, reference)
    seen = np.log(np.maximum(luminance(card.linear * scale), 1e-5))
    bend = np.polyfit(seen, np.log(luminance(reference)), 2)
    low, high = seen.min() - 1, seen.max() + 1

    def correct(linear: Floats) -> Floats:
        at = np.log(np.maximum(linear * scale, 1e-6))
        held = np.clip(at, low, high)
        return np.exp(np.polyval(bend, held) + (at - held) * np.polyval(np.polyder(bend), held))

    return correct


def toned_in(space: Floats, card: CardReading, reference: Floats) -> Correct:
    """Gains in another space, then exponent and flare from the three steps."""
    first = gains_in(space, card, reference)
    balanced = replace(card, linear=first(card.linear))
    then = toned(balanced, reference)
    return lambda linear: then(first(linear))


GREY: dict[str, Candidate] = {
    "current": current,
    "gains in linear sRGB": gains,
    "gains in Bradford": partial(gains_in, _cone("bradford")),
    "gains in CAT02": partial(gains_in, _cone("cat02")),
    "gains in CAT16": partial(gains_in, _cone("cat16")),
    "gains in raw of camera 1": partial(gains_in, _raw(1)),
    "gains in raw of camera 2": partial(gains_in, _raw(2)),
    "gains in mean raw": partial(gains_in, _raw(1, 2)),
}
STRIP: dict[str, Candidate] = {
    "current": current,
    "grey alone": gains,
    "flare alone": flare_only,
    "exponent alone": exponent_only,
    "exponent and flare, L*": toned,
    "Bradford, exponent and flare": partial(toned_in, _cone("bradford")),
    "CAT02, exponent and flare": partial(toned_in, _cone("cat02")),
    "exponent and flare, held (5 L*)": partial(toned, hold=5.0),
    "exponent and flare, held (15 L*)": partial(toned, hold=15.0),
    "exponent and flare of either sign": partial(toned, veil=False),
    "line for each channel": each_channel,
    "curve in the logarithm": log_curve,
}
