"""Checks of what lies on the card: they warn, since what is left of the card still gives a number."""

from __future__ import annotations

from tracker.maths.uncertainty import format_share
from tracker.measure.quality import limits
from tracker.measure.reading import Check
from tracker.measure.reference_card.surface import Surface


def check_card(surface: Surface) -> tuple[Check, ...]:
    """Whether the card is clean, matt and flat, and no screen.

    Parameters
    ----------
    surface : what lies on the card in the photo
    """
    checks = [_clean(surface.strange), _matt(surface.shine), _flat(surface)]
    if surface.dark_shine is not None:
        checks.append(_dark(surface.dark_shine))
    if surface.framed is not None:
        checks.append(_no_screen(surface.framed))
    return tuple(checks)


def _clean(share: float) -> Check:
    ok = share <= limits.STRANGE
    return Check(
        "card_clean",
        ok,
        share,
        limits.STRANGE,
        "share",
        "Nothing lies on the card." if ok else f"{format_share(share)} of the card is print, dirt, hair or a finger.",
        "" if ok else "Use a side without print, wipe the card, and keep fingers and hair off it.",
        stops=False,
    )


def _matt(shine: float) -> Check:
    ok = shine <= limits.SHINE
    return Check(
        "card_shine",
        ok,
        shine,
        limits.SHINE,
        "EV",
        "The card does not shine." if ok else f"A part of the card shines: it looks {shine:.2f} stops too light.",
        "" if ok else "Turn the card a little until the shine is gone.",
        stops=False,
    )


def _flat(surface: Surface) -> Check:
    """By its sides, and where they are straight or cannot be followed, by the light on it."""
    curved = surface.bow > limits.BOW
    ok = not curved and surface.bend <= limits.BEND
    value, limit, unit = (surface.bow, limits.BOW, "share") if curved else (surface.bend, limits.BEND, "EV")
    says = "The card is flat."
    if curved:
        says = f"The card is bent: its sides are curved by {format_share(surface.bow, 1)} of their length."
    elif not ok:
        says = f"The light changes by {surface.bend:.2f} stops between the middle of the card and its edges."
    advice = "Lay the card on something flat and stiff." if curved else "Hold the card flat, farther from the lamp."
    return Check("card_flat", ok, value, limit, unit, says, "" if ok else advice, stops=False)


def _dark(shine: float) -> Check:
    ok = shine <= limits.DARK_SHINE
    return Check(
        "card_dark_shine",
        ok,
        shine,
        limits.DARK_SHINE,
        "EV",
        "The dark part of the card does not shine."
        if ok
        else f"Something shines on the dark part of the card, or shades it: the light changes by {shine:.2f} stops "
        "there, and not on the grey.",
        "" if ok else "Turn the card until its dark part looks evenly black. Matt card shines least.",
        stops=False,
    )


def _no_screen(sides: int) -> Check:
    ok = sides / 4 <= limits.FRAMED
    return Check(
        "card_screen",
        ok,
        sides / 4,
        limits.FRAMED,
        "share",
        "Nothing frames the card as a screen is framed."
        if ok
        else "A dark frame runs round the grey, as round the screen of a phone or a tablet.",
        ""
        if ok
        else "Use a card: a screen gives light of its own. If it is a card with a dark rim, cover or cut off the rim.",
        stops=False,
    )
