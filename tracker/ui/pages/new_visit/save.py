"""Step 4: what was done, in the colourist's own words, and saving."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from tracker import workflow
from tracker.errors import DraftChanged, TrackerError
from tracker.record.records import PROGRESS, Draft, PhotoRecord, Visit, new_id, now
from tracker.ui.look import failure
from tracker.ui.navigation import go_to
from tracker.ui.pages.new_visit.draft_state import Work, forget_opened, go_to_step, keep
from tracker.ui.pages.new_visit.tab import Tab
from tracker.ui.pages.new_visit.visit_fields import visit_fields
from tracker.ui.parts.cautions import CAUTIONS
from tracker.ui.parts.consent_view import ask_name, remember_recorder
from tracker.ui.parts.fields import day_field
from tracker.ui.parts.held import held
from tracker.ui.parts.notices import say_on_next_page, sorry
from tracker.words import as_date, day
from tracker.workflow.drafts import with_words


@dataclass
class _Asked:
    """Whether the person was asked about saving a visit without a service."""

    unserved: bool = False


def show(work: Work) -> None:
    """The step."""
    if work.draft is None:
        return
    if work.kind == PROGRESS:
        _progress(work)
    else:
        _visit(work)


def _visit(work: Work) -> None:
    if work.draft is None or work.tab is None:
        return
    changing = work.kept_visit is not None
    if changing and st.button("Look at the photos again", key="to-photos"):
        go_to_step(work, 0)
    visit, draft = _noted(work, work.draft, work.tab)
    st.caption(CAUTIONS)
    by = ask_name("Who is making this change", "visit-changed") if changing else ""
    said = st.container()  # above the button, which may be at the bottom edge of the window
    if work.tab.news is not None and work.tab.news.choices:
        said.caption("Another tab changed the same thing. Choose at the top of the page, or save what is here.")
    if not _wants_to_save(draft.id, said, unserved=not visit.services and not changing):
        return
    try:
        photos = tuple(_dated(photo, visit.on) for photo in draft.photos)
        saved = workflow.record_visit(work.store, replace(draft, photos=photos), by=by)
    except DraftChanged:  # changed in another window while this one was saving: look at it first
        st.rerun()
    except TrackerError as error:
        with said:
            sorry(error)
        return
    remember_recorder(by)
    forget_opened(work)
    say_on_next_page("The visit is saved.")
    go_to("compare", visit=saved.id)


def _noted(work: Work, draft: Draft, tab: Tab) -> tuple[Visit, Draft]:
    """The visit as now noted, and the draft with it; what another window noted is shown first."""
    known = tab.draft.revision
    read = visit_fields(work.store, tab, draft.visit or _new_visit(work))
    changed = keep(work, with_words(tab.begun(read, draft.visit or read), read))
    visit = changed.draft.visit or read
    if not tab.in_step(read, visit) or changed.clashes or changed.before.revision != known:
        st.rerun()
    return visit, changed.draft


def _progress(work: Work) -> None:
    if work.draft is None:
        return
    if not work.photos:  # removed in another window
        go_to_step(work, 0)
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
        photos = (_dated(photo, on), *work.photos[1:])
        workflow.record_progress(work.store, replace(work.draft, photos=photos))
    except DraftChanged:
        st.rerun()
    except TrackerError as error:
        with said:
            sorry(error)
        return
    forget_opened(work)
    say_on_next_page("The progress photo is saved.")
    go_to("client", client=work.client.id)


def _dated(photo: PhotoRecord, on: date) -> PhotoRecord:
    """The photo on the given day where the camera did not note one: noon is used for the hour nobody knows."""
    if photo.time_noted or as_date(photo.taken_at) == on:
        return photo
    return replace(photo, taken_at=datetime.combine(on, time(12)).astimezone(UTC))


def _new_visit(work: Work) -> Visit:
    """A visit with nothing noted yet, on the day the photos were taken."""
    taken = max((as_date(photo.taken_at) for photo in work.photos), default=date.today())
    return Visit(new_id(), work.client.id, min(taken, date.today()), (), (), "", "", now())


def _wants_to_save(draft_id: str, said: DeltaGenerator, *, unserved: bool) -> bool:
    """True when the visit is to be saved; one without a service is asked about first, in `said`."""
    asked = held(_Asked, draft_id)
    if st.button("Save the visit", type="primary", key="save"):
        if not unserved:
            return True
        asked.unserved = True
    if not (unserved and asked.unserved):
        return False
    if st.button("Save without a service", key="save-unserved"):
        return True
    with said:
        failure(
            "No service is chosen.",
            "Past results and how services wear go by service. Choose one under Services, or save without.",
        )
    return False
