"""One photo, all steps, to a reading with its uncertainty."""

from tracker.measure.photo import Picture, Suggestion, find_marks, measure_photo, with_card
from tracker.measure.reference_card import CARD_KINDS, CardKind, card_kind, is_searched
from tracker.measure.settings import Settings

__all__ = [
    "CARD_KINDS",
    "CardKind",
    "Picture",
    "Settings",
    "Suggestion",
    "card_kind",
    "find_marks",
    "is_searched",
    "measure_photo",
    "with_card",
]
