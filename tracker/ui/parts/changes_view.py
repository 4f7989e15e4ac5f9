"""What changed: every saved change with who, when, and what was there before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import streamlit as st

from tracker.errors import TrackerError
from tracker.record.records import Client, Consent, Draft, PhotoRecord, Visit
from tracker.store import Edit, Store
from tracker.ui.parts.consent_view import PURPOSE_WORDS
from tracker.ui.parts.limit_words import agreed_on_words, washes_words
from tracker.ui.parts.more import ask_for_more, shown
from tracker.ui.parts.reading_view import level_words
from tracker.ui.parts.step_words import cost_words, step_words
from tracker.ui.parts.words import plain
from tracker.words import REGION_TITLES, as_date, day, listed, sentence_case

SHOWN = 40
"""Changes shown before more are asked for."""

_NOTHING = "nothing"


def what_changed(
    store: Store, *, client_id: str | None = None, record_id: str | None = None, consents: Sequence[Consent] = ()
) -> None:
    """An expander with the edits of a client or of one record, newest first; nothing where there is none.

    Parameters
    ----------
    client_id, record_id : str, one of them
    consents : answers that the edits may be about
    """
    of = record_id or client_id or ""
    limit = shown(SHOWN, "changes", of)
    edits = store.edits.find(client_id, record_id=record_id, limit=limit + 1)
    if not edits:
        return
    answers = {consent.id: consent for consent in consents}
    later: dict[str, Any] = {}
    with st.expander("What changed"):
        for edit in edits[:limit]:
            after = later.get(edit.record_id) or _now(store, edit)
            st.markdown(_edit_words(edit, after, answers))
            if edit.before is not None:
                later[edit.record_id] = edit.before
        if len(edits) > limit:
            ask_for_more("Show earlier changes", 5 * SHOWN, "changes", of)


def _edit_words(edit: Edit, after: Any, answers: dict[str, Consent]) -> str:
    moment = edit.at.astimezone()
    head = f"**{day(moment.date())}, {moment:%H:%M}** · {plain(edit.by)}: {_subject(edit, after, answers)}"
    if edit.before is None:
        return head
    lines = differences(edit.before, None if edit.what == "removed" else after)
    return "\n".join([head, "", *(f"- {line}" for line in lines)])


def _subject(edit: Edit, after: Any, answers: dict[str, Consent]) -> str:
    """What was done to what, ready for Markdown."""
    record = edit.before or after
    answer = answers.get(edit.record_id)
    if answer is not None:
        verb = "agreed" if answer.given else "declined or withdrew"
        return f"{PURPOSE_WORDS[answer.purpose].lower()}, the client {verb}"
    if isinstance(record, Visit):
        return f"visit of {day(record.on)} {edit.what}"
    if isinstance(record, Draft):
        return f"unfinished {record.kind}: words or marks from one tab {edit.what}"
    if isinstance(record, PhotoRecord):
        return f"{record.role} photo of {day(as_date(record.taken_at))} {edit.what}"
    noun = "name or notes" if edit.kind == "client" and edit.what == "changed" else edit.kind
    return f"{noun} {plain(edit.what)}"


def differences(before: Any, after: Any) -> list[str]:
    """What differs between two states of a record, a line for each field, ready for Markdown."""
    old, new = _fields(before), _fields(after) if after is not None else {}
    lines = []
    for name in dict.fromkeys([*old, *new]):
        was, became = old.get(name, ""), new.get(name, "")
        if was != became:
            change = f"was {was or _NOTHING}" + (f"; became {became or _NOTHING}" if after is not None else "")
            lines.append(f"{sentence_case(name)} {change}")
    return lines or ["saved with nothing different to show"]


def _fields(record: Any) -> dict[str, str]:
    """A record as named texts, ready for Markdown."""
    if isinstance(record, Client):
        return {"name": _said(record.name), "note": _said(record.note), "contact note": _said(record.contact)}
    if isinstance(record, Visit):
        return _visit_fields(record)
    if isinstance(record, Draft):
        return _draft_fields(record)
    if isinstance(record, PhotoRecord):
        return _photo_fields(record)
    return {}


def _visit_fields(visit: Visit) -> dict[str, str]:
    steps = {f"step {number}": step_words(step) for number, step in enumerate(visit.steps, start=1)}
    return {
        "date": day(visit.on),
        "services": plain(listed(visit.services)),
        "hair history": _said(visit.history),
        "starting point": _said(visit.starting_point),
        **steps,
        "cost of products": plain(cost_words(visit.steps)),
        "note": _said(visit.note),
        "next time": _said(visit.next_time),
        "agreed": plain(agreed_on_words(visit.limits)),
        "washes a week": washes_words(visit.washes_per_week),
    }


def _draft_fields(draft: Draft) -> dict[str, str]:
    marks = {
        f"{word} of the {photo.role} photo" + (f" {number}" if len(draft.photos) > 2 else ""): text
        for number, photo in enumerate(draft.photos, start=1)
        for word, text in _photo_fields(photo).items()
        if word in ("light", "place of the marks")
    }
    return {**(_visit_fields(draft.visit) if draft.visit is not None else {}), **marks}


def _photo_fields(photo: PhotoRecord) -> dict[str, str]:
    regions = photo.reading.regions if photo.reading is not None and photo.reading.ok else ()
    numbers = "; ".join(f"{REGION_TITLES[region.name]} {level_words(region, photo)}" for region in regions)
    return {
        "light": plain(photo.light),
        "day": day(as_date(photo.taken_at)),
        "numbers": plain(numbers or photo.failure or ""),
        "place of the marks": _marks(photo),
        "counted": "yes" if photo.left_out is None else f"no, {plain(photo.left_out.why)}",
    }


def _marks(photo: PhotoRecord) -> str:
    if photo.marks is None or not photo.marks.path:
        return ""
    ends = " to ".join(f"{x:.0f}, {y:.0f}" for x, y in (photo.marks.path[0], photo.marks.path[-1]))
    return plain(f"card {photo.marks.card_kind}, hair from {ends}")


def _said(text: str) -> str:
    return f"“{plain(text)}”" if text else ""


def _now(store: Store, edit: Edit) -> Any:
    """The record as it is now; None where it is gone or cannot be read."""
    if isinstance(edit.before, Draft):
        return _draft_now(store, edit.before)
    find = {"client": store.clients.get, "visit": store.visits.get, "photo": store.photos.get}.get(edit.kind)
    try:
        return find(edit.record_id) if find is not None else None
    except TrackerError:
        return None


def _draft_now(store: Store, before: Draft) -> Draft | None:
    """The draft as it is now, or as it was saved; None where it was thrown away."""
    try:
        return store.drafts.get(before.id)
    except TrackerError:
        pass
    try:
        visit = store.visits.get(before.visit.id) if before.visit is not None else None
        return replace(before, visit=visit, photos=tuple(store.photos.get(photo.id) for photo in before.photos))
    except TrackerError:
        return None
