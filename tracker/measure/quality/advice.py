"""Checks that only warn: the number is given, but a better photo would make it more certain."""

from __future__ import annotations

from dataclasses import dataclass

from tracker.maths.uncertainty import format_share
from tracker.measure.quality import limits
from tracker.measure.quality.card import check_card
from tracker.measure.quality.light import LightAtHair
from tracker.measure.reading import Check
from tracker.measure.reference_card.surface import Surface
from tracker.measure.sharpness import Sharpness
from tracker.words import pixels


@dataclass(frozen=True, slots=True)
class Seen:
    """What a photo shows besides the colours.

    Attributes
    ----------
    sharpness : blur of hair and card, pixels
    width : float, pixels across the hair that is read
    pieces : int, pieces side by side across it that tell lights from lows
    gloss : float, share of the hair that shines, 0..1
    light : light on the hair against that on the card
    margin : float, pixels between the card and the nearest edge of the photo
    card : what lies on the card, or None to leave its checks out
    """

    sharpness: Sharpness
    width: float
    pieces: int
    gloss: float
    light: LightAtHair
    margin: float
    card: Surface | None = None


def advise(seen: Seen) -> tuple[Check, ...]:
    """Every check that only warns, passed or not, of what is `seen` in a photo."""
    return (
        _card_whole(seen.margin),
        *(check_card(seen.card) if seen.card is not None else ()),
        _light(seen.light),
        *_sharp(seen),
        _size(seen),
        _gloss(seen.gloss),
    )


def _card_whole(margin: float) -> Check:
    ok = margin >= limits.MARGIN
    return Check(
        "card_whole",
        ok,
        margin,
        limits.MARGIN,
        "pixels",
        "The whole card is in the photo." if ok else "The card touches the edge of the photo and may be cut off.",
        "" if ok else "Leave a finger's width of room around the card.",
        stops=False,
    )


def _light(light: LightAtHair) -> Check:
    ok = light.at_least <= limits.LIGHT_AT_HAIR
    more = "more" if light.ev > 0 else "less"
    return Check(
        "light_at_hair",
        ok,
        light.at_least,
        limits.LIGHT_AT_HAIR,
        "EV",
        "The light on the hair is like that on the card, as far as the card shows."
        if ok
        else f"The light falls off towards the hair: it gets {more} light than the card.",
        "" if ok else "Hold the card closer to the hair, or step away from the lamp.",
        stops=False,
    )


def _sharp(seen: Seen) -> tuple[Check, ...]:
    """Check the blur at the hair, or at the card's border where the hair cannot tell; none where neither can."""
    hair, card = seen.sharpness.hair, seen.sharpness.card
    limit = limits.largest_blur(seen.width, seen.pieces)
    blur = hair if hair is not None else card
    if blur is None:
        return ()
    ok = blur <= limit
    where = "The hair" if hair is not None else "The photo, judged at the card's border,"
    return (
        Check(
            "sharp",
            ok,
            blur,
            limit,
            "pixels",
            f"{where} is {'sharp enough' if ok else 'blurred'}.",
            "" if ok else _focus_advice(hair, card, limit),
            stops=False,
        ),
    )


def _focus_advice(hair: float | None, card: float | None, limit: float) -> str:
    if hair is not None and card is not None and card <= 0.6 * limit:
        return "The card is sharp and the hair is not: tap on the hair to focus there."
    return "Hold the phone still, wipe its lens, and tap on the hair to focus there."


def _size(seen: Seen) -> Check:
    limit = limits.narrowest(seen.pieces)
    ok = seen.width >= limit
    return Check(
        "close_enough",
        ok,
        seen.width,
        limit,
        "pixels",
        f"The hair that is read is {pixels(seen.width)} wide{'' if ok else ': too few to tell lights from lows'}.",
        "" if ok else "Take the photo from closer.",
        stops=False,
    )


def _gloss(share: float) -> Check:
    ok = share <= limits.GLOSS
    return Check(
        "gloss",
        ok,
        share,
        limits.GLOSS,
        "share",
        f"{format_share(share)} of the hair shines{'.' if ok else ': it may be wet or oily, or a lamp is too close.'}",
        "" if ok else "Dry and comb the hair, and turn it until the shine is gone: wet hair reads darker.",
        stops=False,
    )
