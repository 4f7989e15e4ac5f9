"""The plain 18 % grey card: one even grey, which fixes colour and strength of the light."""

from __future__ import annotations

import numpy as np

from tracker.maths.colorimetry import Floats
from tracker.measure.balance import sharpened, toned_gains
from tracker.measure.camera_error import Undone
from tracker.measure.reading import Correction
from tracker.measure.reference_card.kind import CardKind, CardReading, grid
from tracker.measure.reference_card.search import find_plain

_NAME = "grey18"
_GREY = 0.18


def _reference(reflectance: float | None, _dark: float | None = None) -> Floats:
    return np.full((1, 3), _GREY if reflectance is None else reflectance)


def _correct(card: CardReading, reference: Floats) -> Correction:
    gains = toned_gains(card.linear[0], reference[0])
    return Correction(_NAME, gains, matrix=sharpened(gains, reference[0]))


GREY18 = CardKind(
    name=_NAME,
    title="Plain 18 % grey card",
    description="One even grey, any size.",
    size_of="The grey itself, without a rim.",
    corrected=(
        "The grey card gave the colour and the strength of the light, and the photo was corrected so that the card "
        "reads its own grey. One grey cannot tell how the camera renders other colours; that uncertainty is part of "
        "the ± of every single value, and mostly cancels in a before and after from the same camera, card and light."
    ),
    boxes=grid(1, 1),
    sound=((0, "card"),),
    grey=0,
    reflectance=_GREY,
    tolerance=0.05,  # no standard gives a tolerance for grey cards; a weak choice of our own
    reference=_reference,
    correct=_correct,
    undone=Undone(contrast=0.08, stray=0.005, tint=1.0),
    search=find_plain,
)
