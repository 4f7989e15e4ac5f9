"""Checks before a number is shown: each with its value, its limit and what to do."""

from tracker.quality.advice import Seen
from tracker.quality.framing import Framing, check_framing
from tracker.quality.gates import RAW, check_photo
from tracker.quality.light import LightAtHair, light_at_hair
from tracker.quality.limits import Limits

__all__ = ["RAW", "Framing", "LightAtHair", "Limits", "Seen", "check_framing", "check_photo", "light_at_hair"]
