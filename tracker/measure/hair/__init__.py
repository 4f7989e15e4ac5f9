"""The hair in the photo: a path from root to tip, its bands, and the pixels that are body hair."""

from tracker.measure.hair.bands import BANDS, BandColour, Pieces, band_colour, body_mean, lights_and_lows, profile
from tracker.measure.hair.gloss import gloss_share
from tracker.measure.hair.mask import HairMask, find_hair, hair_within, suggest_axis
from tracker.measure.hair.outline import Outline
from tracker.measure.hair.path import HairPath, Strip, straighten
from tracker.measure.hair.select import KEPT, clipped_codes, select_body
from tracker.measure.hair.spread import stretches
from tracker.measure.hair.suggest import suggest_path

__all__ = [
    "BANDS",
    "KEPT",
    "BandColour",
    "HairMask",
    "HairPath",
    "Outline",
    "Pieces",
    "Strip",
    "band_colour",
    "body_mean",
    "clipped_codes",
    "find_hair",
    "gloss_share",
    "hair_within",
    "lights_and_lows",
    "profile",
    "select_body",
    "straighten",
    "stretches",
    "suggest_axis",
    "suggest_path",
]
