"""The neutral card in the photo: its kinds, finding one, reading one."""

from tracker.reference_card.find import find_card
from tracker.reference_card.kinds import CARD_KINDS, CardKind, Corners, chart_reference, reference_values
from tracker.reference_card.read import CardLimits, CardReading, read_card, unit_to_photo

__all__ = [
    "CARD_KINDS",
    "CardKind",
    "CardLimits",
    "CardReading",
    "Corners",
    "chart_reference",
    "find_card",
    "read_card",
    "reference_values",
    "unit_to_photo",
]
