"""Limits that colourist and client agree on outside a new visit."""

from __future__ import annotations

from dataclasses import replace

from tracker.record.agreed import AgreedLimits, check_limits
from tracker.record.records import Visit
from tracker.store import Store
from tracker.workflow.words import clean_line, clean_note


def last_agreed(store: Store, client_id: str, besides: str = "") -> tuple[AgreedLimits, float | None] | None:
    """What the client agreed to last time, and the washes they told then; None where nothing was ever agreed.

    Parameters
    ----------
    besides : str, a visit to leave out
    """
    for visit in store.visits.of_client(client_id):
        if visit.id != besides and (visit.limits.anything or visit.washes_per_week is not None):
            return visit.limits, visit.washes_per_week
    return None


def agree_limits(
    store: Store, visit_id: str, limits: AgreedLimits, washes_per_week: float | None, *, by: str = ""
) -> Visit:
    """Note what was agreed in a visit already kept; what was there before stays in the log of edits.

    Raises
    ------
    NotFound : no such visit
    ConsentMissing : the client does not agree to being measured
    InvalidEntry : an impossible number
    """
    check_limits(limits, washes_per_week)
    visit = replace(store.visits.get(visit_id), limits=limits, washes_per_week=washes_per_week)
    return store.visits.save(
        visit, store.photos.find(visit_id=visit_id), by=clean_line(by, "The name of the person who saves it")
    )


def note_contact(store: Store, client_id: str, contact: str, *, by: str = "") -> None:
    """Keep how to reach a client and what was said.

    Raises
    ------
    NotFound : no such client
    InvalidEntry : it is too long
    """
    words = clean_note(contact, "The contact note")
    store.clients.change(
        client_id, lambda kept: replace(kept, contact=words), by=clean_line(by, "The name of the person who saves it")
    )
