"""How a photo is measured: the choices that a studio or an experiment may change."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tracker.measure.repeatability import PROVISIONAL, Repeatability


@dataclass(frozen=True, slots=True)
class Settings:
    """How a photo is measured.

    Attributes
    ----------
    repeatability : spread between photos of the same hair by the same kit
    light_half_width : float, EV by which the light on the hair may differ from that on the card, either way, on top
        of what the card's own gradient shows; 0.15 EV is 2 L* at L* 40
    card_stood : bool, True where the card stood on its own instead of being held
    """

    repeatability: Repeatability = PROVISIONAL
    light_half_width: float = 0.15
    card_stood: bool = False


def light_u(lightness: float, settings: Settings) -> float:
    """Standard uncertainty of L* where the light differs between card and hair.

    Rectangular limits in EV (GUM 4.3.7), carried through ``L* = 116 Y^(1/3) - 16`` (CIE 15).

    Parameters
    ----------
    lightness : float, L* of the hair
    settings : Settings, with the limits in EV
    """
    relative = settings.light_half_width * math.log(2) / math.sqrt(3)
    return relative * (lightness + 16) / 3
