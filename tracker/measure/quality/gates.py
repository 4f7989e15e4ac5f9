"""The checks of one photo: those that withhold the number, and those that only ask for a better photo."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from tracker.maths.colorimetry import lab_to_linear, linear_to_lab
from tracker.maths.quantities import Vector3, vector3
from tracker.maths.uncertainty import format_share
from tracker.measure.hair import DOUBTS
from tracker.measure.quality import limits
from tracker.measure.quality.advice import Seen, advise
from tracker.measure.quality.taking import check_taking
from tracker.measure.reading import MIXED, CardSummary, Check, Dropped
from tracker.words import region_is

_MIDDLE_GREY = 0.18

RAW = "raw"
"""Name of the check that notes a photo developed from a camera's raw file."""

_NOTES = {
    "profile_converted": "The photo's colour profile is of a kind that the colour engine had to convert to sRGB.",
    "profile_unreadable": "The photo's colour profile is damaged; its colours were read as sRGB.",
    "profile_assumed": "The photo does not say clearly what its colours mean; they were read as sRGB.",
}
_RAW_NOTE = "raw_developed"
_STEP, _EMPTY = "damaged_step", "damaged_empty"
_COPY_AGAIN = "Look at the photo, and copy it from the camera again."


def check_photo(
    card: CardSummary,
    dropped: Sequence[tuple[str, Dropped]],
    warnings: Sequence[str] = (),
    coloured: float = 1.0,
    seen: Seen | None = None,
    light: str | None = None,
    on_card: float = 0.0,
    filled: Mapping[str, float] | None = None,
) -> tuple[Check, ...]:
    """Every check of one photo, passed or not.

    Parameters
    ----------
    card : as found in the photo
    dropped : name and left-out shares of each band
    warnings : notes from reading the file
    coloured : float, share of the pixels read whose three codes differ at all, 0..1
    seen : what else the photo shows, for the checks that only warn, or None to leave them out
    light : str or None, the noted light, one of `reading.LIGHTS`
    on_card : float, share of the ribbon that lies on the card, 0..1
    filled : for the whole hair, the share of the heights of each band at which there is hair, 0..1; None for a ribbon
    """
    checks = [*_exposure(card), _colour(coloured), _cast(card), _gradient(card)]
    if filled is None:
        checks.append(_off_card(on_card))
    for name, shares in dropped:
        checks += [_clipped(name, shares), _kept(name, shares) if filled is None else _filled(name, filled[name])]
    if light == MIXED:
        checks.append(_TWO_LIGHTS)
    advice = advise(seen) if seen is not None else ()
    return (*checks, *advice, *(_note(warning) for warning in warnings))


def check_outline(doubt: float, reason: str) -> Check:
    """Whether what was found is surely the hair; without that there is no number.

    Parameters
    ----------
    doubt : float, 0..1
    reason : str, a key of `hair.DOUBTS`, what the doubt is about; empty below the limit
    """
    ok = doubt < limits.DOUBT
    seen, advice = ("The outline of the hair is clear.", "") if ok else DOUBTS[reason]
    return Check(
        "hair_found",
        ok,
        doubt,
        limits.DOUBT,
        "doubt",
        seen,
        advice,
    )


# on the truth bench, a quarter of another light on the hair puts warmth off by 6 units at the median, a half by 11
_TWO_LIGHTS = Check(
    "one_light",
    False,
    2.0,
    1.0,
    "lights",
    "Two kinds of light fall on the hair, and one card can balance only one of them.",
    "Switch off the lamps or move away from the window, and take the photo again.",
)


def _note(warning: str) -> Check:
    """Anything odd about the file, as a check: damage withholds the number, the rest warns or passes with a note."""
    name, *place = warning.split(" ")
    if name == _STEP and len(place) == 2:
        says = f"The photo looks damaged: its colour jumps along a line {_where(*place)}."
        return Check("whole", False, 1.0, 0.0, "faults", says, _COPY_AGAIN)
    if name == _EMPTY:
        says = "The photo looks damaged: a part of the file is empty."
        return Check("whole", False, 1.0, 0.0, "faults", says, _COPY_AGAIN)
    if warning == _RAW_NOTE:
        says = "The photo was developed from the camera's raw file: linear light, without the camera's look."
        return Check(RAW, True, 1.0, 1.0, "file", says)
    taking = check_taking(warning)
    if taking is not None:
        return taking
    return Check("profile", True, 1.0, 1.0, "file", _NOTES.get(warning, warning), "Where you can, set it to sRGB.")


def _where(share: str, edge: str) -> str:
    way = "across from the left" if edge == "left" else "down from the top"
    return f"about {100 * float(share):.0f} % of the way {way}"


def _exposure(card: CardSummary) -> tuple[Check, Check]:
    lightness = _as_middle_grey(card)[0]
    dark = lightness < limits.DARKEST
    bright = lightness > limits.BRIGHTEST
    return (
        Check(
            "bright_enough",
            not dark,
            lightness,
            limits.DARKEST,
            "L*",
            f"The photo is {'too dark' if dark else 'bright enough'}: middle grey reads {lightness:.0f}.",
            "Add light or raise the exposure." if dark else "",
        ),
        Check(
            "not_too_bright",
            not bright,
            lightness,
            limits.BRIGHTEST,
            "L*",
            "The photo is too bright: light hair will burn out." if bright else "The photo is not too bright.",
            "Lower the exposure." if bright else "",
        ),
    )


def _as_middle_grey(card: CardSummary) -> Vector3:
    """CIELAB of an 18 % grey in the card's place: how the photo is lit, whatever the card reflects."""
    return vector3(linear_to_lab(lab_to_linear(card.lab) * (_MIDDLE_GREY / card.reflectance)))


def _colour(coloured: float) -> Check:
    ok = coloured >= limits.COLOURED
    return Check(
        "colour",
        ok,
        coloured,
        limits.COLOURED,
        "share",
        "The photo is in colour." if ok else "The photo is black and white.",
        "" if ok else "Use the colour photo, before any filter.",
    )


def _cast(card: CardSummary) -> Check:
    _, a, b = _as_middle_grey(card)
    chroma = math.hypot(a, b)
    ok = chroma <= limits.CAST
    return Check(
        "cast",
        ok,
        chroma,
        limits.CAST,
        "C*",
        "The light's colour can be balanced out." if ok else "The light is too strongly coloured for one card.",
        "" if ok else "Use daylight or white lamps.",
    )


def _gradient(card: CardSummary) -> Check:
    ok = card.gradient <= limits.GRADIENT
    return Check(
        "even_light",
        ok,
        card.gradient,
        limits.GRADIENT,
        "EV",
        f"The light {'is even' if ok else 'falls off'} across the card.",
        "" if ok else "Move away from the lamp or turn the card towards it.",
    )


def _off_card(share: float) -> Check:
    ok = share <= limits.ON_CARD
    return Check(
        "path_off_card",
        ok,
        share,
        limits.ON_CARD,
        "share",
        "The path keeps off the card." if ok else f"{format_share(share)} of the path lies on the card.",
        "" if ok else "Move the path onto the hair, or hold the card beside it.",
    )


def _clipped(name: str, shares: Dropped) -> Check:
    ok = shares.clipped <= limits.CLIPPED
    return Check(
        f"clipped_{name}",
        ok,
        shares.clipped,
        limits.CLIPPED,
        "share",
        f"{format_share(shares.clipped)} of the {region_is(name)} burnt out or black.",
        "" if ok else "Change the exposure, or turn the hair out of the hard light.",
    )


def _kept(name: str, shares: Dropped) -> Check:
    kept = 1 - shares.clipped - shares.gloss - shares.shadow - shares.not_hair - shares.outside
    ok = kept >= limits.KEPT
    return Check(
        f"hair_{name}",
        ok,
        kept,
        limits.KEPT,
        "share",
        f"{format_share(kept)} of the {region_is(name)} counted: the lightest and the darkest tenth of hair never are.",
        "" if ok else "Move the path so that its whole width lies on hair.",
    )


def _filled(name: str, share: float) -> Check:
    ok = share >= limits.FILLED
    return Check(
        f"hair_{name}",
        ok,
        share,
        limits.FILLED,
        "share",
        f"The {region_is(name)} read over the whole width of the hair."
        if ok
        else f"There is hair at only {format_share(share)} of the heights where the {region_is(name)} read.",
        "" if ok else "Move the line from root to tip so that it begins and ends where the hair does.",
    )
