"""Ways to correct that were weighed against the program's own: from a card's reading and reference to a function.

Each takes what ``tracker.measure.balance`` takes, so that all see the same photos; nothing of the program is changed.

References
----------
[RPC] Finlayson, Mackiewicz, Hurlbert 2015, IEEE Trans Image Process 24:1460-1470: root-polynomial correction.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
from scipy.optimize import least_squares

from tests.bench.spectra import STEPS
from tests.photo_samples import colour
from tracker.maths.colorimetry import RGB_TO_XYZ, Floats, linear_to_lab, luminance
from tracker.measure.balance import apply
from tracker.measure.reading import IDENTITY, Correction
from tracker.measure.reference_card import CardReading, correction_from_card

Correct = Callable[[Floats], Floats]
Candidate = Callable[[CardReading, Floats], Correct]


def own(card: CardReading, reference: Floats) -> Correct:
    """What the program does."""
    return partial(apply, _correction(card, reference))


def _correction(card: CardReading, reference: Floats) -> Correction:
    nominal = None if card.kind.name == "chart24" else float(reference[card.kind.grey].mean())
    return correction_from_card(card, nominal)


def grey_gains(card: CardReading, reference: Floats) -> Floats:
    """Gain of each channel that makes the grey read its reference."""
    return np.asarray(reference[card.kind.grey] / np.maximum(card.linear[card.kind.grey], 1e-6))


def gains(card: CardReading, reference: Floats) -> Correct:
    """Gains in linear sRGB on the grey alone."""
    scale = grey_gains(card, reference)
    return lambda linear: linear * scale


def gains_in(name: str, card: CardReading, reference: Floats) -> Correct:
    """Gains in the sharpened space of an adaptation transform."""
    space = colour.CHROMATIC_ADAPTATION_TRANSFORMS[name] @ RGB_TO_XYZ
    grey, wanted = card.linear[card.kind.grey], reference[card.kind.grey]
    matrix = np.linalg.solve(space, ((space @ wanted) / (space @ grey))[:, None] * space)
    return lambda linear: linear @ matrix.T


# --- the three-step strip -------------------------------------------------------------------------------------------


def toned_in(name: str, card: CardReading, reference: Floats) -> Correct:
    """Gains in a sharpened space, then the program's exponent and stray light."""
    first = gains_in(name, card, reference)
    then = own(replace(card, linear=first(card.linear)), reference)
    return lambda linear: then(first(linear))


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


# --- the chart ------------------------------------------------------------------------------------------------------


def toned(card: CardReading, reference: Floats) -> Correct:
    """The program's tone correction without its matrix."""
    return partial(apply, replace(_correction(card, reference), matrix=IDENTITY))


def _relative(wanted: Floats) -> Floats:
    return np.asarray(1 / np.maximum(luminance(wanted), 0.02))


def hair_weight(wanted: Floats) -> Floats:
    """More say for patches near the colours of hair: dark to light, a* 0 to 20, b* 0 to 30."""
    lab = linear_to_lab(wanted)
    away = np.hypot((lab[:, 1] - 7) / 15, (lab[:, 2] - 15) / 20)
    return _relative(wanted) * (0.1 + np.exp(-0.5 * away**2))


def white_keeping(terms: Floats, wanted: Floats, weight: Floats, hold: float = 0.0) -> Floats:
    """Least squares from terms to linear values, rows that sum to one; `hold` pulls the other terms to nothing."""
    rows = []
    for channel in range(3):
        others = [k for k in range(terms.shape[1]) if k != channel]
        design = (terms[:, others] - terms[:, [channel]]) * weight[:, None]
        square = design.T @ design
        pull = hold * np.trace(square) / len(others) * np.eye(len(others))
        part = np.linalg.solve(square + pull, design.T @ ((wanted[:, channel] - terms[:, channel]) * weight))
        row = np.zeros(terms.shape[1])
        row[others], row[channel] = part, 1 - part.sum()
        rows.append(row)
    return np.array(rows)


def matrix3x3(
    card: CardReading,
    reference: Floats,
    first: Candidate = gains,
    weigh: Callable[[Floats], Floats] = _relative,
) -> Correct:
    """Gains or tone, then a white-keeping matrix on the usable patches."""
    before = first(card, reference)
    seen, wanted = before(card.linear)[card.usable], reference[card.usable]
    matrix = white_keeping(seen, wanted, weigh(wanted))
    return lambda linear: before(linear) @ matrix.T


def lab_fit(card: CardReading, reference: Floats) -> Correct:
    """Tone, then a white-keeping matrix by least squares on L*, a*, b* (robust: absolute beyond 2)."""
    before = toned(card, reference)
    seen, wanted = before(card.linear)[card.usable], reference[card.usable]
    goal, start = linear_to_lab(wanted), white_keeping(seen, wanted, _relative(wanted))
    free = ~np.eye(3, dtype=bool)

    def matrix(x: Floats) -> Floats:
        rows = np.zeros((3, 3))
        rows[free] = x
        return np.asarray(rows + np.diag(1 - rows.sum(axis=1)))

    chroma = 1 + 0.045 * np.hypot(goal[:, 1], goal[:, 2])
    scale = np.stack([np.ones_like(chroma), chroma, chroma], -1)
    found = least_squares(
        lambda x: ((linear_to_lab(seen @ matrix(x).T) - goal) / scale).ravel(), start[free], loss="soft_l1", f_scale=2.0
    )
    best = matrix(found.x)
    return lambda linear: before(linear) @ best.T


def _roots(linear: Floats) -> Floats:
    r, g, b = np.moveaxis(np.maximum(linear, 0), -1, 0)
    return np.stack([*np.moveaxis(linear, -1, 0), np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], -1)


def root_polynomial(card: CardReading, reference: Floats) -> Correct:
    """Tone, then second order [RPC] with white kept; relative weights."""
    before = toned(card, reference)
    seen, wanted = before(card.linear)[card.usable], reference[card.usable]
    matrix = white_keeping(_roots(seen), wanted, _relative(wanted), hold=1e-3)
    return lambda linear: _roots(before(linear)) @ matrix.T


CANDIDATES: dict[str, dict[str, Candidate]] = {
    "grey18": {
        "own: gains in linear sRGB": own,
        "gains in Bradford": partial(gains_in, "Bradford"),
        "gains in CAT16": partial(gains_in, "CAT16"),
    },
    "steps3": {
        "own: exponent and stray light": own,
        "grey alone": gains,
        "Bradford, exponent and stray light": partial(toned_in, "Bradford"),
        "line for each channel": each_channel,
        "curve in the logarithm": log_curve,
    },
    "chart24": {
        "own: tone, 3x3": own,
        "grey alone": gains,
        "3x3": matrix3x3,
        "tone, 3x3 near hair": partial(matrix3x3, first=toned, weigh=hair_weight),
        "tone, 3x3 in Lab": lab_fit,
        "tone, root polynomial": root_polynomial,
    },
}


# --- light that differs between card and hair -----------------------------------------------------------------------

Places = dict[str, Floats]
"""Balanced linear values of the places that a person marked besides hair and card."""
Carry = Callable[[Places], Floats | float]


def wall_light(places: Places, share: float = 1.0) -> float:
    """Factor from the wall's light beside the card and beside the hair; `share` of it in the logarithm."""
    return float((luminance(places["wall by card"]) / luminance(places["wall by hair"])) ** share)


def wall_colour(places: Places) -> Floats:
    """The same in each channel."""
    return places["wall by card"] / places["wall by hair"]


_BETWEEN = 0.6  # of the way from the card to the second grey the hair lies


def greys_light(places: Places, share: float = _BETWEEN) -> float:
    """Factor from a second grey; log-light goes in a straight line from the card to it, past the hair."""
    return float((STEPS[1] / luminance(places["second grey"])) ** share)


def greys_colour(places: Places) -> Floats:
    """The same in each channel."""
    return np.asarray((STEPS[1] / places["second grey"]) ** _BETWEEN)


NOTHING = "own: the card alone"
CARRIED: dict[str, Carry] = {
    NOTHING: lambda places: 1.0,
    "wall: light": wall_light,
    "wall: half its light": partial(wall_light, share=0.5),
    "wall: light and colour": wall_colour,
    "second grey: light": greys_light,
    "second grey: light and colour": greys_colour,
}
