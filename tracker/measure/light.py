"""Light that differs between the hair and the card beside it: what each photo has anew, and what an occasion shares.

A card taken up again stands a little otherwise in the light each time, so that part averages out over photos; where
card and client are in the room stays the same for all photos of an occasion, and no number of photos shows it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tracker.measure.reading import DAYLIGHT, LAMPS, TUBES, WHOLE
from tracker.measure.settings import Settings


@dataclass(frozen=True, slots=True)
class LightBesideCard:
    """Standard uncertainties, EV, of the light on the hair against the light on the card.

    Attributes
    ----------
    occasion : float, shared by the photos of one occasion
    photo : float, each photo's own
    balance : float, of a* and b* as a share of the hair's chroma: a phone balances each photo anew, and gains from a
        grey do not undo all of that on coloured hair
    look : float, of the chroma as a share of it: a phone makes colours stronger or weaker from photo to photo
    """

    occasion: float
    photo: float
    balance: float = 0.0
    look: float = 0.0


# A simulation of salon light, head and card held by hand gives, occasion and photo: .02 and .03 in soft light, .08 and
# .13 under ceiling and lamp, .11 and .18 at a window, .12 and .22 under one near lamp. A note of the light tells less,
# so these are the middle of what it may be; with them intervals hold on the bench's rendered heads.
_HELD = {
    DAYLIGHT: LightBesideCard(0.05, 0.10),
    LAMPS: LightBesideCard(0.05, 0.08),
    TUBES: LightBesideCard(0.03, 0.05),
}
_NOT_NOTED = LightBesideCard(0.05, 0.09)
_OF_GRADIENT = 0.2  # of the fall of light across the card, which the head's own shading mostly repeats; by the bench
_BALANCE = 0.035  # by the bench: balances of their own, 5 % apart, in a measured camera
_LOOK = 0.025  # by the bench: colours up to 12 % stronger, otherwise in each photo; no grey shows it
_STANDING = 0.5  # a card on a stand has half of what a card in the hand has anew in each photo


def light_beside_card(hair: str, light: str | None, gradient: float, settings: Settings) -> LightBesideCard:
    """How far the light on the hair may differ from that on the card.

    Parameters
    ----------
    hair : str, `reading.RIBBON` or `reading.WHOLE`
    light : str or None, one of `reading.LIGHTS`
    gradient : float, EV, change of light across the card
    settings : Settings, whether the card stood, the studio's own spread, and the limits for a ribbon
    """
    if hair != WHOLE:
        # rectangular limits (GUM 4.3.7), all of it shared
        return LightBesideCard(math.hypot(settings.light_half_width, gradient) / math.sqrt(3), 0.0)
    if settings.repeatability.covers_light:
        # the studio's own spread already holds what its light does
        return LightBesideCard(0.0, _OF_GRADIENT * gradient, _BALANCE, _LOOK)
    held = _HELD.get(light or "", _NOT_NOTED)
    photo = held.photo * (_STANDING if settings.card_stood else 1.0)
    return LightBesideCard(held.occasion, math.hypot(photo, _OF_GRADIENT * gradient), _BALANCE, _LOOK)
