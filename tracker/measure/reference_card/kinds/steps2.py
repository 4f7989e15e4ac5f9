"""The two-part card: grey above dark, which also shows the look that a phone put on the photo."""

from __future__ import annotations

from functools import partial

from tracker.errors import CardImplausible
from tracker.maths.colorimetry import Floats, luminance
from tracker.measure.balance import grey_and_dark
from tracker.measure.camera_error import Undone
from tracker.measure.dark_half import NOMINAL, contrast_left
from tracker.measure.reading import Correction
from tracker.measure.reference_card.kind import CardKind, CardReading, grid, neutral
from tracker.measure.reference_card.search import find_row

_NAME = "steps2"
_GREY, _DARK = 0, 1
_REFLECTANCES = (0.18, 0.05)  # of a grey card, and of a matt black one: common practice, no source


def _reference(reflectance: float | None, dark: float | None = None) -> Floats:
    return neutral(_REFLECTANCES, {_GREY: reflectance, _DARK: dark})


def _correct(card: CardReading, reference: Floats) -> Correction:
    """Gains from the grey, and one exponent from grey and dark."""
    return grey_and_dark(_NAME, card.linear[[_GREY, _DARK]], reference[[_GREY, _DARK]])


def _require_plausible(card: CardReading) -> None:
    grey, dark = (float(luminance(values)) for values in card.linear)
    if not grey > 1.3 * dark:
        raise CardImplausible(
            "The grey half is not above the dark one.",
            "Mark the corners from the grey end: top left, top right, then down to the dark end.",
        )


_search = partial(find_row, reflectances=_REFLECTANCES)

STEPS2 = CardKind(
    name=_NAME,
    title="Two-part card, grey and dark",
    description="Grey above, dark below, in equal halves. Also undoes the look that the phone puts on a photo.",
    size_of="Both halves together: the area inside the corners that you mark.",
    corrected=(
        "The grey half of the card gave the colour and strength of the light, grey and dark together the contrast that "
        "the camera put on the photo, and the photo was corrected so that both read their own values."
    ),
    boxes=grid(1, 2),
    sound=((_GREY, "grey half"), (_DARK, "dark half")),
    grey=_GREY,
    reflectance=_REFLECTANCES[_GREY],
    tolerance=0.05,  # as for a plain card
    dark=_DARK,
    reference=_reference,
    correct=_correct,
    undone=Undone(
        contrast_left(_REFLECTANCES[_GREY], _REFLECTANCES[_DARK], NOMINAL * _REFLECTANCES[_DARK]), stray=0.003, tint=1.0
    ),
    search=_search,
    require_plausible=_require_plausible,
)
