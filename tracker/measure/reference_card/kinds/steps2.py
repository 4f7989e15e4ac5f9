"""The two-part card: grey above dark, which also shows the look that a phone put on the photo."""

from __future__ import annotations

from functools import partial

import numpy as np

from tracker.errors import CardImplausible
from tracker.maths.colorimetry import Floats, luminance
from tracker.measure.balance import sharpened, toned_gains
from tracker.measure.camera_error import Undone
from tracker.measure.reading import Correction
from tracker.measure.reference_card.kind import CardKind, CardReading, grid
from tracker.measure.reference_card.search import find_row

_NAME = "steps2"
_GREY, _DARK = 0, 1
_REFLECTANCES = (0.18, 0.05)  # of a grey card, and of a matt black one: common practice, no source
# exponents that phones put on a photo (six published chart photos show 0.89 to 1.02, a strong look 1.25), and room for
# a dark half that reflects 0.04 to 0.06; beyond the outer limits it was not this card
_HELD = (0.75, 1.35)
_LIMITS = (0.5, 2.0)


def _reference(reflectance: float | None, dark: float | None = None) -> Floats:
    steps = np.array(_REFLECTANCES)
    for patch, known in ((_GREY, reflectance), (_DARK, dark)):
        if known is not None:
            steps[patch] = known
    return np.repeat(steps[:, None], 3, axis=1)


def _exponent(seen: Floats, wanted: Floats) -> float:
    """The exponent in linear light that brings grey and dark (2, 3) as far apart as they are."""
    (grey, dark), (light, deep) = luminance(np.maximum(seen, 1e-6)), luminance(wanted)
    return float(np.log(light / deep) / max(np.log(grey / dark), 1e-3))


def _correct(card: CardReading, reference: Floats) -> Correction:
    """Gains from the grey, and one exponent from grey and dark."""
    exponent, grey = float(np.clip(_exponent(card.linear, reference), *_HELD)), reference[_GREY]
    gains = toned_gains(card.linear[_GREY], grey, exponent)
    return Correction(_NAME, gains, exponent=exponent, matrix=sharpened(gains, grey, exponent))


def _require_plausible(card: CardReading) -> None:
    grey, dark = (float(luminance(values)) for values in card.linear)
    if not grey > 1.3 * dark:
        raise CardImplausible(
            "The grey half is not above the dark one.",
            "Mark the corners from the grey end: top left, top right, then down to the dark end.",
        )
    exponent = _exponent(card.linear, _reference(None))
    if not _LIMITS[0] <= exponent <= _LIMITS[1]:
        closer = exponent > 1
        raise CardImplausible(
            f"The dark half reads too {'light' if closer else 'dark'} beside the grey one "
            f"(contrast {1 / exponent:.2f}, {1 / _LIMITS[1]:g} to {1 / _LIMITS[0]:g} can be).",
            "Turn the card until nothing shines on its dark half, and keep both halves in the same light."
            if closer
            else "Check that the corners lie on both halves, and that the dark half is not in shadow.",
            value=1 / exponent,
            limit=1 / _LIMITS[1] if closer else 1 / _LIMITS[0],
            unit="ratio",
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
    # what the dark half reflects is nominal: 0.045 to 0.055 is an exponent of 0.92 to 1.08
    undone=Undone(contrast=0.05, stray=0.003, tint=1.0),
    search=_search,
    require_plausible=_require_plausible,
)
