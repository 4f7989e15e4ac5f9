"""Which records may have been kept long enough; nothing is deleted here."""

from __future__ import annotations

from datetime import date, timedelta

from tracker.store import Absent, Store
from tracker.words import DAYS_PER_MONTH

USUAL_MONTHS = 24
"""A loose choice of our own; the law asks for a limit and names none (GDPR article 5(1)(e))."""


def not_seen_for(store: Store, months: int, today: date | None = None) -> list[Absent]:
    """Clients who have not been in for so many months, longest absence first."""
    return store.clients.not_seen_since((today or date.today()) - timedelta(days=months * DAYS_PER_MONTH))
