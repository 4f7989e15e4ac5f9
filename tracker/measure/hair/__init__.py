"""The hair in the photo: its outline, a path from root to tip, its bands, and the pixels that are body hair."""

from tracker.measure.hair.bands import (
    BANDS,
    BandColour,
    Pieces,
    band_colour,
    body_mean,
    lights_and_lows,
    pieces_across,
    profile,
)
from tracker.measure.hair.doubt import SENTENCES as DOUBTS
from tracker.measure.hair.gloss import gloss_share
from tracker.measure.hair.mask import HairMask, find_hair, hair_within, suggest_axis
from tracker.measure.hair.outline import Outline, outline_about
from tracker.measure.hair.path import NARROWEST, HairPath, Strip, require_inside, straighten
from tracker.measure.hair.select import KEPT, OUTSIDE, USUAL, WHOLE_WIDTH, Selection, clipped_codes, select_body
from tracker.measure.hair.spread import stretches
from tracker.measure.hair.whole import Extent, extent, require_downwards, straighten_whole, stripes

__all__ = [
    "BANDS",
    "DOUBTS",
    "KEPT",
    "NARROWEST",
    "OUTSIDE",
    "USUAL",
    "WHOLE_WIDTH",
    "BandColour",
    "Extent",
    "HairMask",
    "HairPath",
    "Outline",
    "Pieces",
    "Selection",
    "Strip",
    "band_colour",
    "body_mean",
    "clipped_codes",
    "extent",
    "find_hair",
    "gloss_share",
    "hair_within",
    "lights_and_lows",
    "outline_about",
    "pieces_across",
    "profile",
    "require_downwards",
    "require_inside",
    "select_body",
    "straighten",
    "straighten_whole",
    "stretches",
    "stripes",
    "suggest_axis",
]
