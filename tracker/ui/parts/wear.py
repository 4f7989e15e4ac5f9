"""How a service of the portfolio wore, in one sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tracker.fade import months_between
from tracker.record.records import AFTER, PROGRESS
from tracker.said.colour import say_change
from tracker.ui.parts.pair import CHANGED, compare_states, only, state_in_force
from tracker.ui.parts.reading_view import no_number
from tracker.ui.parts.words import plain
from tracker.words import as_date, months_words

if TYPE_CHECKING:
    from tracker.store import PortfolioEntry, Store


def wear_words(store: Store, entry: PortfolioEntry) -> str:
    """The change from the photo after the service to the last one before the next service, or nothing."""
    next_visits = [visit.on for visit in store.visits.of_client(entry.client_id) if visit.on > entry.visit.on]
    photos = [
        photo
        for photo in store.photos.find(client_id=entry.client_id, role=PROGRESS, taken_from=entry.after.taken_at)
        if photo.taken_at > entry.after.taken_at
        and not no_number(photo)
        and (not next_visits or as_date(photo.taken_at) < min(next_visits))
    ]
    if not photos:
        return ""
    last = max(photos, key=lambda photo: photo.taken_at)
    after = state_in_force(entry.photos, AFTER) or only(entry.after)
    headline = compare_states(after, only(last)).headline
    if headline is None:
        return ""
    span = months_words(months_between(entry.after.taken_at, last.taken_at))
    later = f"{span} later" if span else "the same day"
    if headline.verdict != CHANGED:
        return f"Measured again {later}, with no certain change."
    return f"Measured again {later}. {plain(say_change(headline))}"
