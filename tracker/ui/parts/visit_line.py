"""A visit in a few words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from tracker.record.records import AFTER, BEFORE, PhotoRecord, Visit
from tracker.said.colour import say_change
from tracker.ui.parts.pair import compare_states, state_in_force
from tracker.ui.parts.words import plain
from tracker.words import MADE_UP, ago, day, listed, sentence_case


def visit_words(visit: Visit, today: date, *, made_up: bool = False) -> str:
    """Services and day of a visit, ready for Markdown, marked where it belongs to the demo."""
    services = sentence_case(listed((plain(service) for service in visit.services), empty="no service noted"))
    span = ago(visit.on, today)
    when = f"{day(visit.on)}, {span}" if visit.on <= today else day(visit.on)
    return " · ".join([services, when, *([MADE_UP] if made_up else [])])


def lift_words(photos: Sequence[PhotoRecord]) -> str:
    """What the visit changed, ready for Markdown; nothing where there is no pair with numbers."""
    before, after = state_in_force(photos, BEFORE), state_in_force(photos, AFTER)
    if before is None or after is None:
        return ""
    headline = compare_states(before, after).headline
    return plain(say_change(headline)) if headline is not None else ""


def photo_of(photos: Sequence[PhotoRecord]) -> PhotoRecord | None:
    """The photo that represents a visit: after, else before."""
    for role in (AFTER, BEFORE):
        found = role_photo(photos, role)
        if found is not None:
            return found
    return None


def role_photo(photos: Sequence[PhotoRecord], role: str) -> PhotoRecord | None:
    """The photo that represents the state in that role, with the reading of all its photos together."""
    state = state_in_force(photos, role)
    return state.standing if state is not None else None
