"""Step 4: what was done, in the colourist's own words, and saving."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING

import streamlit as st

from tracker import workflow
from tracker.errors import TrackerError
from tracker.records import PROGRESS, SERVICES, PhotoRecord, Visit, new_id, now
from tracker.ui.look import failure
from tracker.ui.navigation import go_to
from tracker.ui.pages.new_visit.draft_state import Work, forget_opened, go_to_step, keep
from tracker.ui.pages.new_visit.step_list import steps_editor
from tracker.ui.parts.agree import Choice, agree
from tracker.ui.parts.cautions import CAUTIONS
from tracker.ui.parts.consent_view import ask_name, remember_recorder
from tracker.ui.parts.day_field import day_field
from tracker.ui.parts.notices import say_on_next_page, sorry
from tracker.ui.parts.words import as_date, day, plain, sentence_case
from tracker.workflow.words import NOTE_LIMIT

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

    from tracker.store import Store


def show(work: Work) -> None:
    """The step."""
    if work.draft is None:
        return
    if work.kind == PROGRESS:
        _progress(work)
    else:
        _visit(work)


def _visit(work: Work) -> None:
    if work.draft is None:
        return
    changing = work.kept_visit is not None
    if changing and st.button("Look at the photos again", key="to-photos"):
        go_to_step(work, 0)
    visit = _fields(work.store, work.draft.id, work.draft.visit or _new_visit(work))
    if work.draft.visit != visit:
        keep(work.store, replace(work.draft, visit=visit))
    st.caption(CAUTIONS)
    by = ask_name("Who makes this change", "visit-changed") if changing else ""
    said = st.container()  # above the button, which may stand at the lower edge of the window
    if not _wants_to_save(work.draft.id, said, unserved=not visit.services and not changing):
        return
    try:
        photos = tuple(_dated(photo, visit.on) for photo in work.draft.photos)
        saved = workflow.record_visit(work.store, replace(work.draft, visit=visit, photos=photos), by=by)
    except TrackerError as error:
        with said:
            sorry(error)
        return
    remember_recorder(by)
    forget_opened(work)
    say_on_next_page("The visit is saved.")
    go_to("compare", visit=saved.id)


def _progress(work: Work) -> None:
    if work.draft is None or not work.photos:
        return
    photo = work.photos[0]
    st.markdown("The photo joins the current service of this client and shows how the colour wears.")
    on = as_date(photo.taken_at)
    if not photo.time_noted:
        on = day_field("Taken on", on, f"taken-on-{photo.id}")
        st.caption("The file does not say when it was taken.")
    else:
        st.markdown(f"Taken on {day(on)}, as the camera noted it.")
    said = st.container()
    if not st.button("Save the photo", type="primary", key="save"):
        return
    try:
        workflow.record_progress(work.store, replace(work.draft, photos=(_dated(photo, on),)))
    except TrackerError as error:
        with said:
            sorry(error)
        return
    forget_opened(work)
    say_on_next_page("The progress photo is saved.")
    go_to("client", client=work.client.id)


def _dated(photo: PhotoRecord, on: date) -> PhotoRecord:
    """The photo on the given day where the camera did not note one: noon stands for the hour that nobody knows."""
    if photo.time_noted or as_date(photo.taken_at) == on:
        return photo
    return replace(photo, taken_at=datetime.combine(on, time(12)).astimezone(UTC))


def _new_visit(work: Work) -> Visit:
    """A visit with nothing noted yet, on the day the photos were taken."""
    taken = max((as_date(photo.taken_at) for photo in work.photos), default=date.today())
    return Visit(new_id(), work.client.id, min(taken, date.today()), (), (), "", "", now())


def _wants_to_save(draft_id: str, said: DeltaGenerator, *, unserved: bool) -> bool:
    """True when the visit is to be saved; one without a service is asked about first, in `said`."""
    asked = f"save-asked-{draft_id}"
    if st.button("Save the visit", type="primary", key="save"):
        if not unserved:
            return True
        st.session_state[asked] = True
    if not (unserved and st.session_state.get(asked)):
        return False
    if st.button("Save without a service", key="save-unserved"):
        return True
    with said:
        failure(
            "No service is chosen.",
            "Past results and how services wear go by service. Choose one under Services, or save without.",
        )
    return False


def _fields(store: Store, draft_id: str, kept: Visit) -> Visit:
    """The visit as the fields now read; every field may stay empty."""
    fresh = f"visit-on-{draft_id}" not in st.session_state
    visit = _first_values(draft_id, kept)
    on = day_field("Date of the visit", visit.on, f"visit-on-{draft_id}")
    own = [service for service in visit.services if service not in SERVICES]
    services = st.pills(
        "Services",
        [*SERVICES, *own],
        selection_mode="multi",
        default=list(visit.services),
        format_func=lambda service: plain(sentence_case(service)),
        key=f"visit-services-{draft_id}",
    )
    history, starting_point = _before_the_service(visit, draft_id)
    steps = steps_editor(store, visit, f"steps-{draft_id}", fresh=fresh)
    limits, washes = _agreed(store, visit, draft_id)
    note = st.text_area("Note", value=visit.note, max_chars=NOTE_LIMIT, key=f"visit-note-{draft_id}")
    next_time = st.text_area("Next time", value=visit.next_time, max_chars=NOTE_LIMIT, key=f"visit-next-{draft_id}")
    return replace(
        visit,
        on=on,
        services=tuple(services or ()),
        steps=steps,
        note=(note or "").strip(),
        next_time=(next_time or "").strip(),
        history=history,
        starting_point=starting_point,
        limits=limits,
        washes_per_week=washes,
    )


def _agreed(store: Store, visit: Visit, draft_id: str) -> Choice:
    """What colourist and client agree to; folded away where nothing was agreed yet."""
    noted = visit.limits.anything or visit.washes_per_week is not None
    with st.expander("Agree with the client: how far may it go?", expanded=noted):
        st.markdown("From this the program works out when the client is due. Leave out what does not matter.")
        last = workflow.last_agreed(store, visit.client_id, besides=visit.id)
        return agree((visit.limits, visit.washes_per_week), f"visit-agreed-{draft_id}", last)


def _before_the_service(visit: Visit, draft_id: str) -> tuple[str, str]:
    """What the client said; folded away where nothing was noted yet."""
    noted = bool(visit.history or visit.starting_point)
    with st.expander("What the client says: hair history and starting point", expanded=noted):
        history = st.text_area(
            "Hair history, in the client’s words",
            value=visit.history,
            max_chars=NOTE_LIMIT,
            placeholder="for example: box colour two years ago, keratin last summer",
            key=f"visit-history-{draft_id}",
        )
        start = st.text_area(
            "Starting point, in the client’s words",
            value=visit.starting_point,
            max_chars=NOTE_LIMIT,
            placeholder="for example: grown out, brassy at the ends, wants it softer",
            key=f"visit-start-{draft_id}",
        )
    return (history or "").strip(), (start or "").strip()


def _first_values(draft_id: str, kept: Visit) -> Visit:
    """What the fields began with; a field whose beginning changes under it would forget what was typed."""
    key = f"visit-first-{draft_id}"
    if f"visit-on-{draft_id}" not in st.session_state:
        st.session_state[key] = kept
    first: Visit = st.session_state.setdefault(key, kept)
    return first
