"""Checks before a number is shown, each with its value, its limit and what to do."""

from tracker.measure.quality.advice import Seen
from tracker.measure.quality.framing import Framing, check_framing
from tracker.measure.quality.gates import RAW, check_outline, check_photo
from tracker.measure.quality.light import light_at_hair
from tracker.measure.quality.limits import largest_blur
from tracker.measure.quality.spare import check_spare
from tracker.measure.quality.vouched import VOUCHED

__all__ = [
    "RAW",
    "VOUCHED",
    "Framing",
    "Seen",
    "check_framing",
    "check_outline",
    "check_photo",
    "check_spare",
    "largest_blur",
    "light_at_hair",
]
