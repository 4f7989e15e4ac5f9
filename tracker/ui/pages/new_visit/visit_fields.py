"""The fields of a visit: what was done, what was agreed, and what the client said."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from tracker import workflow
from tracker.record.records import SERVICES, Visit
from tracker.store import Store
from tracker.ui.pages.new_visit.step_list import steps_editor
from tracker.ui.pages.new_visit.tab import Tab
from tracker.ui.parts.agree import Choice, agree
from tracker.ui.parts.fields import day_field
from tracker.ui.parts.words import plain
from tracker.words import sentence_case
from tracker.workflow.words import NOTE_LIMIT

TEXTS = {
    "visit-history": ("Hair history", "history"),
    "visit-start": ("Starting point", "starting_point"),
    "visit-note": ("Note", "note"),
    "visit-next": ("Next time", "next_time"),
}
"""Plain text fields, by the start of their key: the label of each and where a visit keeps it."""

_HISTORY_HINT = "for example: box colour two years ago, keratin last summer"
_START_HINT = "for example: grown out, brassy at the ends, wants it softer"


def visit_fields(store: Store, tab: Tab, first: Visit) -> Visit:
    """The visit as the fields now read; every field may be empty.

    Parameters
    ----------
    tab : Tab, of this window
    first : Visit, what the fields start with where they are not shown yet: a field whose start value changes would
        forget what was typed
    """
    fresh = tab.first is None
    tab.first = visit = tab.first or first
    on = day_field("Date of the visit", visit.on, tab.key("visit-on", "date"))
    own = [service for service in visit.services if service not in SERVICES]
    services = st.pills(
        "Services",
        [*SERVICES, *own],
        selection_mode="multi",
        default=list(visit.services),
        format_func=lambda service: plain(sentence_case(service)),
        key=tab.key("visit-services", "services"),
    )
    history, starting_point = _before_the_service(visit, tab)
    steps = steps_editor(store, visit, tab.key("steps", "steps"), fresh=fresh)
    limits, washes = _agreed(store, visit, tab.key("visit-agreed", "agreed"))
    note = _text("Note", visit, tab, "note")
    next_time = _text("Next time", visit, tab, "next")
    return replace(
        visit,
        on=on,
        services=tuple(services or ()),
        steps=steps,
        note=note,
        next_time=next_time,
        history=history,
        starting_point=starting_point,
        limits=limits,
        washes_per_week=washes,
    )


def _agreed(store: Store, visit: Visit, key: str) -> Choice:
    """What colourist and client agree to; folded away where nothing was agreed yet."""
    noted = visit.limits.anything or visit.washes_per_week is not None
    with st.expander("Agree with the client: how far may it go?", expanded=noted):
        st.markdown("From this the program works out when the client is due. Leave out what does not matter.")
        last = workflow.last_agreed(store, visit.client_id, besides=visit.id)
        return agree((visit.limits, visit.washes_per_week), key, last)


def _before_the_service(visit: Visit, tab: Tab) -> tuple[str, str]:
    """What the client said; folded away where nothing was noted yet."""
    noted = bool(visit.history or visit.starting_point)
    with st.expander("What the client says: hair history and starting point", expanded=noted):
        history = _text("Hair history, in the client’s words", visit, tab, "history", _HISTORY_HINT)
        return history, _text("Starting point, in the client’s words", visit, tab, "start", _START_HINT)


def _text(label: str, visit: Visit, tab: Tab, part: str, placeholder: str | None = None) -> str:
    """One part of a visit that is plain text, as its field now reads."""
    name = f"visit-{part}"
    begins = getattr(visit, TEXTS[name][1])
    typed = st.text_area(label, begins, max_chars=NOTE_LIMIT, placeholder=placeholder, key=tab.key(name, part))
    return (typed or "").strip()
