"""The neutral card in the photo: kinds of card, finding one, reading one, and the correction that it gives."""

from tracker.measure.reference_card.another import CardSought, look_for
from tracker.measure.reference_card.kind import CardKind, CardReading, Corners, correction_from_card
from tracker.measure.reference_card.kinds import CARD_KINDS, camera_error, card_kind, is_searched, kind_or_plain
from tracker.measure.reference_card.read import read_card, unit_to_photo
from tracker.measure.reference_card.search import FoundCard, found_corners
from tracker.measure.reference_card.search.placed import read_as

__all__ = [
    "CARD_KINDS",
    "CardKind",
    "CardReading",
    "CardSought",
    "Corners",
    "FoundCard",
    "camera_error",
    "card_kind",
    "correction_from_card",
    "found_corners",
    "is_searched",
    "kind_or_plain",
    "look_for",
    "read_as",
    "read_card",
    "unit_to_photo",
]
