"""How a photo is measured: the choices that a studio or an experiment may change."""

from __future__ import annotations

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
