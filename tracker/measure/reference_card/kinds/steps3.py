"""The three-step strip: white, grey and black, which also undo the camera's contrast and stray light."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from tracker.errors import CardImplausible
from tracker.maths.colorimetry import Floats, lightness, luminance
from tracker.measure.balance import apply, grey_and_dark, sharpened, tone, toned_gains
from tracker.measure.camera_error import Undone
from tracker.measure.dark_half import NOMINAL, contrast_left
from tracker.measure.reading import Correction
from tracker.measure.reference_card.kind import CardKind, CardReading, grid, neutral
from tracker.measure.reference_card.search import find_row

_NAME = "steps3"
_WHITE, _GREY, _BLACK = 0, 1, 2
_REFLECTANCES = (0.90, 0.18, 0.035)  # common practice, no source
_LARGEST_MISS = 5.0  # L*: the strongest contrast on the truth bench leaves 2.8


def _reference(reflectance: float | None, dark: float | None = None) -> Floats:
    return neutral(_REFLECTANCES, {_GREY: reflectance, _BLACK: dark})


def _correct(card: CardReading, reference: Floats) -> Correction:
    """Gains, one exponent and one stray light from all steps, by least squares in L*; without white, no stray light."""
    if card.patch_left_out:
        return grey_and_dark(_NAME, card.linear[[_GREY, _BLACK]], reference[[_GREY, _BLACK]])
    seen, wanted = card.linear[_GREY], reference[_GREY]
    exponent, flare = tone(card.linear, reference, seen, wanted)
    toned = Correction(_NAME, toned_gains(seen, wanted, exponent, flare), flare, exponent)
    missed = lightness(luminance(apply(toned, card.linear))) - lightness(luminance(reference))
    off = float(np.abs(missed).max())
    if off > _LARGEST_MISS:
        raise CardImplausible(
            f"White, grey and black of the strip do not agree: a step is {off:.0f} L* off (limit {_LARGEST_MISS:.0f}).",
            "Check that the corners lie on the strip and that no step is in shadow or shines.",
            value=off,
            limit=_LARGEST_MISS,
            unit="L*",
        )
    matrix = sharpened(toned.gains, wanted, exponent)
    return replace(toned, matrix=matrix, misfit=(float(np.sqrt(np.mean(np.square(missed)))), 0.0, 0.0))


def _require_plausible(card: CardReading) -> None:
    white, middle, black = (float(luminance(values)) for values in card.linear)
    lightest = 1.0 if card.patch_left_out else 1.5  # a white that burnt out reads too dark
    if not white > lightest * middle or not middle > 1.3 * black:
        raise CardImplausible(
            "The three steps do not run from white through grey to black.",
            "Mark the corners from the white end: top left, top right, then down to the black end.",
        )


_search = partial(find_row, reflectances=_REFLECTANCES)

STEPS3 = CardKind(
    name=_NAME,
    title="Three-step strip",
    description="White, grey and black in equal thirds. Also undoes the camera's contrast; its white may burn out.",
    size_of="The three steps together: the area inside the corners that you mark.",
    corrected=(
        "The white, grey and black of the strip gave the colour and strength of the light, the camera's contrast and "
        "the stray light, and the photo was corrected so that all three read their own values. Where the white burnt "
        "out, grey and black alone gave the light and the contrast."
    ),
    boxes=grid(1, 3),
    sound=((_WHITE, "white step"), (_GREY, "grey step"), (_BLACK, "black step")),
    grey=_GREY,
    reflectance=_REFLECTANCES[_GREY],
    tolerance=0.05,  # as for a plain card
    reference=_reference,
    correct=_correct,
    undone=Undone(contrast=0.03, stray=0.002, tint=1.0),
    dark=_BLACK,
    spare=_WHITE,
    # as a two-part card
    undone_without=Undone(
        contrast_left(_REFLECTANCES[_GREY], _REFLECTANCES[_BLACK], NOMINAL * _REFLECTANCES[_BLACK]),
        stray=0.003,
        tint=1.0,
    ),
    search=_search,
    require_plausible=_require_plausible,
)
