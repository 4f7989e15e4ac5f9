"""Put a visit or a progress photo together, and make it part of the record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from tracker.errors import Conflict, InvalidEntry, NotFound
from tracker.measure.reading import WHOLE
from tracker.record.agreed import AgreedLimits, check_limits
from tracker.record.records import PROGRESS, Draft, PhotoRecord, Visit, new_id, now
from tracker.store import Store
from tracker.wear import agreed_at
from tracker.words import day
from tracker.workflow.steps import clean_visit
from tracker.workflow.words import clean_line

VISIT = "visit"
KINDS = (VISIT, PROGRESS)
"""Kinds of drafts."""


def start_draft(store: Store, client_id: str, kind: str, visit: Visit | None = None) -> Draft:
    """Begin a visit or a progress photo; it is kept from the start.

    Parameters
    ----------
    kind : str, ``visit`` or ``progress``
    visit : Visit or None, one already kept that is to be changed

    Raises
    ------
    NotFound : no such client
    ConsentMissing : the client does not agree to being measured
    """
    if kind not in KINDS:
        raise InvalidEntry(f"There is no draft of a {kind}.", f"Begin a {' or a '.join(KINDS)}.")
    store.clients.get(client_id)
    store.consents.require_measuring(client_id)
    photos = () if visit is None else tuple(store.photos.find(visit_id=visit.id))
    return store.drafts.save(Draft(new_id(), client_id, kind, 0, visit, photos, now()))


def keep_draft(store: Store, draft: Draft) -> Draft:
    """Keep a draft as it is now.

    Raises
    ------
    DraftChanged : it was saved in another window since it was read
    Conflict : it was made part of the record or thrown away in another window
    ConsentMissing : it has photos, and the client does not agree to being measured
    NotFound : no such client, or a picture is no longer there
    """
    return store.drafts.save(replace(draft, updated_at=now()))


def record_visit(store: Store, draft: Draft, *, by: str = "") -> Visit:
    """Make a draft a visit: visit and photos are kept and the draft is removed, all at once.

    Parameters
    ----------
    draft : Draft with its visit; the photos become the visit's own
    by : str, who saves it, for the log of edits

    Returns
    -------
    Visit : as it is kept; the same one if the draft was already recorded

    Raises
    ------
    DraftChanged : the draft was saved in another window since it was read
    Conflict : the draft is not a visit, or the visit was changed in another window
    ConsentMissing : the client does not agree to being measured
    NotFound : no such client, or a picture is no longer there
    InvalidEntry : a text is too long, a number in a step is impossible, or the day is in the future
    """
    if draft.kind != VISIT or draft.visit is None:
        raise Conflict("This draft is not a visit yet.", "Fill in the date and what was done, then save.")
    _require_past(draft.visit.on, "The visit")
    visit = clean_visit(draft.visit)
    photos = [replace(photo, visit_id=visit.id) for photo in draft.photos]
    by = clean_line(by, "The name of the person who saves it")
    return store.visits.save(visit, photos, draft_id=draft.id, draft_revision=draft.revision, by=by)


def record_progress(store: Store, draft: Draft, *, by: str = "") -> PhotoRecord:
    """Make a draft a progress photo: the photo is kept and the draft is removed, all at once.

    Parameters
    ----------
    by : str, who saves it, for the log of edits where it changes a photo that is there

    Returns
    -------
    PhotoRecord : as it is kept; the same one if the draft was already recorded

    Raises
    ------
    DraftChanged : the draft was saved in another window since it was read
    Conflict : the draft is not a progress photo, or does not have exactly one photo
    ConsentMissing : the client does not agree to being measured
    NotFound : no such client, or the picture is no longer there
    InvalidEntry : the day given is in the future
    """
    if draft.kind != PROGRESS or len(draft.photos) != 1:
        raise Conflict("A progress draft has exactly one photo.", "Add the photo, or take one out, then save.")
    photo = draft.photos[0]
    if not photo.time_noted:
        _require_past(photo.taken_at.astimezone().date(), "The photo")
    by = clean_line(by, "The name of the person who saves it")
    kept = replace(photo, visit_id=None)
    return store.photos.save(kept, draft_id=draft.id, draft_revision=draft.revision, by=by)


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


def confirm_limits(store: Store, client_id: str, *, by: str = "") -> Visit:
    """Keep the limits in force, agreed on photos read along a ribbon, for photos of the whole hair.

    Raises
    ------
    NotFound : no limits are in force
    ConsentMissing : the client does not agree to being measured
    """
    visit = agreed_at(store.visits.of_client(client_id))
    if visit is None:
        raise NotFound("No limits are in force for this client.", "Agree on some on the client’s page.")
    return agree_limits(store, visit.id, replace(visit.limits, hair=WHOLE), visit.washes_per_week, by=by)


def _require_past(on: date, what: str) -> None:
    """Refuse a day that is in the future."""
    if on > date.today():
        raise InvalidEntry(f"{what} is dated {day(on)}, which is in the future.", "Correct the date, then save again.")
