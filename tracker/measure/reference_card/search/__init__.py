"""Finds a card in a photo, or says what is in doubt: candidates by their outline, refined, scored, decided."""

from tracker.measure.reference_card.search.chart import find_chart
from tracker.measure.reference_card.search.decide import find_plain
from tracker.measure.reference_card.search.found import ASK, FOUND, NONE, FoundCard, Reason, Search, found_corners
from tracker.measure.reference_card.search.markers import board_at, find_markers
from tracker.measure.reference_card.search.reduced import Reduced, reduce
from tracker.measure.reference_card.search.rows import find_row

__all__ = [
    "ASK",
    "FOUND",
    "NONE",
    "FoundCard",
    "Reason",
    "Reduced",
    "Search",
    "board_at",
    "find_chart",
    "find_markers",
    "find_plain",
    "find_row",
    "found_corners",
    "reduce",
]
