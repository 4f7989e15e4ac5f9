"""The printed holder: a grey card in a window, a printed dark patch, and four markers that tell its place and size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tracker.errors import CardImplausible, CardUneven
from tracker.maths.colorimetry import Floats, luminance
from tracker.measure.balance import grey_and_dark
from tracker.measure.camera_error import Undone
from tracker.measure.reading import Correction
from tracker.measure.reference_card.board import DARK, PAPER, WINDOW
from tracker.measure.reference_card.kind import CardKind, CardReading, Corners, neutral
from tracker.measure.reference_card.search import board_at, find_markers

_NAME = "markers4"
_DARK, _GREY, _FIRST_PAPER = 0, 1, 2
# of a grey card: common practice, no source; of solid black on office paper, 0.035 to 0.06, and of the printed grey:
# from memory
_REFLECTANCES = (0.045, 0.18, *(0.41 for _ in PAPER))
_BOXES = (DARK, WINDOW, *PAPER)
# weak choices of our own, to be changed only on the strength of a measurement
_CARD_ON_PAPER = (0.15, 0.85)  # the card's light over the paper's; it is 0.44, and phones bend that to 0.3 or 0.55
_STEEPEST = 1.0  # EV from one edge of the frame to the other
_UNLIKE = 0.3  # EV by which a field of paper may lie off the even fall of light over all of them
_FIELDS = 4  # of paper, the least that say how the light falls


def _reference(reflectance: float | None, dark: float | None = None) -> Floats:
    return neutral(_REFLECTANCES, {_GREY: reflectance, _DARK: dark})


def _correct(card: CardReading, reference: Floats) -> Correction:
    """Gains from the grey card, and one exponent from it and the dark patch."""
    both = [_GREY, _DARK]
    try:
        return grey_and_dark(_NAME, card.linear[both], reference[both])
    except CardImplausible as error:
        pale = error.value is not None and error.value < 1
        raise CardImplausible(
            f"The dark patch reads too {'light' if pale else 'dark'} beside the grey card in the window.",
            "Turn the holder until nothing shines on its dark patch."
            if pale
            else "Check that a plain 18 % grey card is in the window, and that no shadow lies on the dark patch.",
            value=error.value,
            limit=error.limit,
            unit=error.unit,
        ) from error


def _fall_of_light(card: CardReading) -> tuple[Floats, float] | None:
    """How the light on the paper changes from left to right and from top to bottom, and the worst miss, all EV.

    None where too many fields of paper burnt out.
    """
    fields = np.arange(_FIRST_PAPER, len(_BOXES))
    fields = fields[card.usable[fields]]
    if len(fields) < _FIELDS:
        return None
    seen = np.log2(np.maximum(luminance(card.linear[fields]), 1e-5))
    design = np.column_stack([np.ones(len(fields)), _places()[fields]])
    plane, *_ = np.linalg.lstsq(design, seen, rcond=None)
    return np.asarray(plane[1:]), float(np.abs(seen - design @ plane).max())


def _places() -> Floats:
    """Middles of all patches in the frame's unit square, from the middle of the window."""
    boxes = np.array(_BOXES)
    middles = (boxes[:, :2] + boxes[:, 2:]) / 2
    return np.asarray(middles - middles[_GREY])


def _even_out(card: CardReading) -> CardReading:
    """The card as if all of it were lit like its window: the paper shows how the light falls off."""
    fall = _fall_of_light(card)
    if fall is None:
        return card
    slopes, _ = fall
    light = _places() @ slopes
    steepest = max(card.gradient, float(np.abs(slopes).sum()))
    return replace(card, linear=card.linear / 2 ** light[:, None], gradient=steepest)


def _require_plausible(card: CardReading) -> None:
    dark, grey, *paper = (float(luminance(values)) for values in np.maximum(card.linear, 1e-6))
    least, most = _CARD_ON_PAPER
    share = grey / float(np.median(paper))
    if not least <= share <= most:
        light = share > most
        raise CardImplausible(
            f"What shows in the holder's window is too {'light' if light else 'dark'} for a grey card "
            f"({share:.2f} of the paper's light, {least:g} to {most:g} can be).",
            "Cut out the window, put a plain 18 % grey card behind it, and turn it until nothing shines."
            if light
            else "Put a plain 18 % grey card behind the window, and check that the corners lie on the markers.",
            value=share,
            limit=most if light else least,
            unit="ratio",
        )
    if not grey > 1.3 * dark:
        raise CardImplausible(
            "The holder's dark patch is not darker than the grey card above it.",
            "Turn the holder until nothing shines on it. By hand, mark the corners from the upright holder's top left.",
        )
    _require_even(card)


def _require_even(card: CardReading) -> None:
    """The paper round the window and the dark patch tells gloss and shadows from the light itself."""
    fall = _fall_of_light(card)
    if fall is None:
        return
    slopes, unlike = fall
    steepest = float(np.abs(slopes).sum())
    if unlike > _UNLIKE:
        raise CardUneven(
            f"Something shines on the holder or shades it: its paper is {unlike:.2f} EV off an even light "
            f"(limit {_UNLIKE:.2f} EV).",
            "Turn the holder until nothing shines on it, and keep fingers, hair and shadows off it.",
            value=unlike,
            limit=_UNLIKE,
            unit="EV",
        )
    if steepest > _STEEPEST:
        raise CardUneven(
            f"The light changes by {steepest:.2f} EV across the holder (limit {_STEEPEST:.2f} EV).",
            "Turn the holder, or move away from the lamp, until it is lit evenly.",
            value=steepest,
            limit=_STEEPEST,
            unit="EV",
        )


def _size_in(encoded: np.ndarray, corners: Corners) -> tuple[float, float] | None:
    board = board_at(encoded, corners)
    return None if board is None else board.size_mm


MARKERS4 = CardKind(
    name=_NAME,
    title="Printed holder with a grey card",
    description=(
        "Print it, cut out its window and tape a plain 18 % grey card behind it. Hold it beside the hair, facing the "
        "camera: the program finds it by its markers and knows its size."
    ),
    size_of="Its markers tell its size: the rectangle through their outer corners.",
    corrected=(
        "The grey card in the holder gave the colour and strength of the light, grey card and dark patch together the "
        "contrast that the camera put on the photo, and the photo was corrected so that both read their own values."
    ),
    boxes=_BOXES,
    sound=((_GREY, "grey card"), (_DARK, "dark patch")),
    grey=_GREY,
    reflectance=_REFLECTANCES[_GREY],
    tolerance=0.05,  # as for a plain card
    dark=_DARK,
    reference=_reference,
    correct=_correct,
    # prints reflect 0.035 to 0.06, which is an exponent of 0.85 to 1.26; the paper evens out the light
    undone=Undone(contrast=0.12, stray=0.003, tint=1.0),
    search=find_markers,
    require_plausible=_require_plausible,
    even_out=_even_out,
    size_in=_size_in,
)
