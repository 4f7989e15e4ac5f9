"""The 24-patch chart: its greys undo the camera's contrast and stray light, its colours how the camera sees colours."""

from __future__ import annotations

import warnings
from dataclasses import replace
from functools import lru_cache

import numpy as np

from tracker.errors import CardImplausible
from tracker.maths.colorimetry import D65, XYZ_TO_RGB, Floats, adaptation_matrix, linear_to_lab, luminance
from tracker.maths.quantities import Vector3, matrix3, vector3
from tracker.maths.robust import robust_sd
from tracker.measure.balance import apply, tone, toned_gains
from tracker.measure.camera_error import Undone
from tracker.measure.reading import Correction, Point
from tracker.measure.reference_card.kind import CardKind, CardReading, grid
from tracker.measure.reference_card.search import FoundCard, Reduced, find_chart

_NAME = "chart24"
_GREY = 21  # neutral 5
_NEUTRALS = (19, 20, 21, 22, 23)  # the white patch is not neutral
_HOLD = 2.0  # L*: five greys cannot tell a small exponent from stray light


@lru_cache(maxsize=1)
def chart_reference() -> Floats:
    """Linear sRGB-primaries values of the 24 patches under D65, shape (24, 3).

    From colour-science's data set "ColorChecker24 - After November 2014" (2 degree observer, ICC D50),
    adapted to D65 by Bradford.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns about its optional plotting library
        import colour  # imported late: takes most of a second

        chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
        xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
        white = colour.xy_to_XYZ(chart.illuminant)
    return np.asarray(xyz @ adaptation_matrix(white, D65).T @ XYZ_TO_RGB.T)


def _reference(reflectance: float | None, _dark: float | None = None) -> Floats:
    values = chart_reference()
    if reflectance is None:
        return values
    return np.asarray(values * (reflectance / float(luminance(values[_GREY]))))


def _correct(card: CardReading, reference: Floats) -> Correction:
    """Tone from the greys, then least squares on the unclipped patches with rows that sum to one.

    The patches near the colours of hair count most: on rendered heads the error of a change of a* and b* falls by a
    quarter (`tests/bench/heads`).
    """
    grey = card.linear[_GREY], reference[_GREY]
    neutrals = [patch for patch in _NEUTRALS if card.usable[patch]]
    exponent, flare = 1.0, 0.0
    if len(neutrals) >= 3:
        exponent, flare = tone(card.linear[neutrals], reference[neutrals], *grey, hold=_HOLD)
    toned = Correction(_NAME, toned_gains(*grey, exponent, flare), flare, exponent)
    seen, wanted = apply(toned, card.linear)[card.usable], reference[card.usable]
    matrix = _white_keeping(seen, wanted)
    return replace(toned, matrix=matrix3(matrix), misfit=_misfit(seen @ matrix.T, wanted))


_HAIR = (8.0, 16.0)  # a*, b* in the middle of hair's colours, and how far they reach
_REACH = (15.0, 20.0)
# so far from hair a colour still counts: with less, rendered heads gain, and published photos lose on patches left out
_OTHERS = 0.3


def _like_hair(lab: Floats) -> Floats:
    """How like the colours of hair each colour is, 0..1."""
    away = (lab[:, 1:] - _HAIR) / _REACH
    return np.asarray(np.exp(-0.5 * np.square(away).sum(axis=1)))


def _white_keeping(seen: Floats, wanted: Floats) -> Floats:
    """The least squares matrix, (3, 3), whose rows sum to one."""
    # the error of a patch grows with its light, so the fit is relative
    weight = np.sqrt(_like_hair(linear_to_lab(wanted)) + _OTHERS) / np.maximum(luminance(wanted), 0.02)
    rows = np.zeros((3, 3))
    for channel in range(3):
        others = [k for k in range(3) if k != channel]
        design = (seen[:, others] - seen[:, [channel]]) * weight[:, None]
        offset = (wanted[:, channel] - seen[:, channel]) * weight
        part, *_ = np.linalg.lstsq(design, offset, rcond=None)
        rows[channel, others], rows[channel, channel] = part, 1 - part.sum()
    return rows


def _misfit(found: Floats, wanted: Floats) -> Vector3:
    """Root mean square by which patches still miss their L*, a*, b*, weighted towards the colours of hair."""
    goal = linear_to_lab(wanted)
    weight = _like_hair(goal)
    return vector3(np.sqrt(weight @ np.square(linear_to_lab(found) - goal) / weight.sum()))


_ROUNDS = 3  # the tone is fitted to unevenly lit greys, so tone and slopes are repeated
_CERTAIN = 9.2  # chi-squared of two slopes at 1 %


def _even_out(card: CardReading) -> CardReading:
    """The card as if all of it were lit like its grey, and how much the light falls off across it.

    A plane fitted robustly to the exposure error of each patch (EV), and used where it is significant at 1 %. On three
    of six published photos it halves the error of the chart's own colours.
    """
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


def _patch_places(card: CardReading) -> Floats:
    """Middles of the patches in the card's unit square, relative to the balancing grey."""
    boxes = np.array(card.kind.boxes)
    middles = (boxes[:, :2] + boxes[:, 2:]) / 2
    return np.asarray(middles - middles[_GREY])


def _light_slopes(card: CardReading) -> Floats | None:
    """Change of light across and down the chart, EV; None where it is not significant."""
    reference = chart_reference()
    wanted = luminance(reference)[card.usable]
    seen = luminance(apply(_correct(card, reference), card.linear))[card.usable]
    off = np.log2(np.maximum(seen, 1e-4) / wanted)
    design = np.column_stack([np.ones(len(off)), _patch_places(card)[card.usable]])
    start = np.minimum(wanted / 0.05, 1)  # stray light matters most in dark patches
    weight = start
    for _ in range(3):
        plane, *_ = np.linalg.lstsq(design * weight[:, None], off * weight, rcond=None)
        rest = np.abs(off - design @ plane)
        scatter = max(float(robust_sd(rest)), 1e-6)
        weight = start / np.maximum(1, rest / (2 * scatter))
    weighted = design * weight[:, None]
    cov = np.linalg.inv(weighted.T @ weighted)[1:, 1:] * scatter**2
    slopes = np.asarray(plane[1:])
    return slopes if float(slopes @ np.linalg.solve(cov, slopes)) > _CERTAIN else None


def _require_plausible(card: CardReading) -> None:
    expected = chart_reference()
    seen = card.linear * (expected[_GREY] / np.maximum(card.linear[_GREY], 1e-6))
    likeness = float(np.corrcoef(np.cbrt(np.maximum(seen, 0)).ravel(), np.cbrt(expected).ravel())[0, 1])
    if likeness < 0.85 or card.usable.sum() < 12:
        raise CardImplausible(
            f"The patches do not look like the chart (likeness {likeness:.2f}, at least 0.85).",
            "Mark the corners of the chart's outer frame, from its own top left, greys at the bottom.",
            value=likeness,
            limit=0.85,
            unit="correlation",
        )


def _search(encoded: np.ndarray | Reduced, near: Point | None = None) -> FoundCard:
    return find_chart(encoded, near, reference=chart_reference().reshape(4, 6, 3))


CHART24 = CardKind(
    name=_NAME,
    title="24-patch chart",
    description="Six columns, four rows, greys in the bottom row. The most exact.",
    size_of="The outer frame of the patches: the area inside the corners that you mark.",
    corrected=(
        "The 24 patches of the chart gave the colour and strength of the light and how this camera renders colours, "
        "and the photo was corrected so that the patches read their own values as closely as possible."
    ),
    boxes=grid(6, 4),
    sound=((_GREY, "card"),),
    grey=_GREY,
    reflectance=0.1906,
    tolerance=0.02,
    reference=_reference,
    correct=_correct,
    # the rest shows in the chart's own misfit, photo by photo
    undone=Undone(contrast=0.02, stray=0.001, tint=0.0, chroma_hue=(0.03, 0.03)),
    search=_search,
    require_plausible=_require_plausible,
    even_out=_even_out,
)
