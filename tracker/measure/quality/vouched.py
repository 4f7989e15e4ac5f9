"""The check of a card that only a person took for the card."""

from __future__ import annotations

from tracker.measure.reading import Check

VOUCHED = Check(
    "card_reads",
    False,
    1.0,
    0.0,
    "word",
    "The card did not read as a card of its kind; a person said that it is the card all the same.",
    "Trust the number only if you know this card. Next time, use a plain, even card with nothing printed on it.",
    stops=False,
)
"""Only warns: the number stands, and says what it rests on."""
