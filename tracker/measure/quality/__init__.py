"""Checks before a number is shown, each with its value, its limit and what to do."""

from tracker.measure.quality.advice import Seen
from tracker.measure.quality.framing import Framing, check_framing
from tracker.measure.quality.gates import RAW, check_photo
from tracker.measure.quality.light import LightAtHair, light_at_hair
from tracker.measure.quality.limits import CheckLimits

__all__ = ["RAW", "CheckLimits", "Framing", "LightAtHair", "Seen", "check_framing", "check_photo", "light_at_hair"]
