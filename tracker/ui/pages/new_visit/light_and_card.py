"""The light and the card of step 1: chosen once for all photos, and followed by those that are already in."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from tracker import workflow
from tracker.errors import TrackerError
from tracker.measure.reading import LIGHTS
from tracker.record.records import PhotoRecord
from tracker.ui.opened import OPENED
from tracker.ui.pages.new_visit.draft_state import Work, fields_of, keep, note_card_problem
from tracker.ui.parts.card_choice import choose_card
from tracker.ui.parts.notices import sorry
from tracker.words import ROLE_WORDS, sentence_case
from tracker.workflow.drafts import with_changed_photos


def choose_the_card(work: Work) -> tuple[str, float | None]:
    """The kind of card in the photos, and the reflectance of its grey where it is known better."""
    last = _last_photo(work)
    known = last.marks if last is not None else None
    key = _field(work, "card")
    if known is None:
        return choose_card(key)
    return choose_card(key, known.card_kind, known.reflectance)


def follow_card(work: Work, card: str, reflectance: float | None) -> None:
    """Photos that are already in are searched again when another card is chosen."""
    if work.draft is None:
        return
    wanted = (card, reflectance)
    alike = all(
        photo.marks is None or (photo.marks.card_kind, photo.marks.reflectance) == wanted for photo in work.photos
    )
    _follow(work, "card", wanted, alike=alike)
    if alike:
        return
    try:
        with st.spinner("Looking for the card"):
            photos = tuple(_find_card(work, photo, card, reflectance) for photo in work.photos)
    except TrackerError as error:
        sorry(error)
        return
    keep(work, with_changed_photos(work.photos, photos))
    st.rerun()


def choose_light(work: Work, role: str) -> str:
    """The light of one photo: before and after may be under different light, and the result must know."""
    present = work.of(role)
    likely = next(iter(present), None) or _last_photo(work)
    chosen = st.pills(
        "Light" if len(work.roles) == 1 else f"Light of the {ROLE_WORDS[role].lower()} photo",
        LIGHTS[:-1],
        default=likely.light if likely is not None and likely.light in LIGHTS[:-1] else None,
        format_func=sentence_case,
        key=_field(work, f"light-{role}"),
        wrap=True,
    )
    light = chosen or LIGHTS[-1]
    if chosen is None and present:
        st.caption("Note the light: it makes every ± smaller.")
    alike = all(photo.light == light for photo in present)
    _follow(work, f"light-{role}", light, alike=alike)
    if work.draft is not None and not alike:
        keep(work, with_changed_photos(work.photos, [_noted(work, photo, light) for photo in present]))
        st.rerun()
    return light


def with_card(work: Work, record: PhotoRecord, card: str, reflectance: float | None) -> tuple[PhotoRecord, str | None]:
    """The photo with the marks that were found for that card, and what went wrong, which is said at the marks."""
    found = workflow.suggest_marks(work.store, record, card, reflectance, decoded=OPENED)
    problem = None if found.card is None else found.card.message
    return replace(record, marks=found.marks, reading=None, failure=None), problem


def _find_card(work: Work, record: PhotoRecord, card: str, reflectance: float | None) -> PhotoRecord:
    """The photo with the marks that were found for that card."""
    marked, problem = with_card(work, record, card, reflectance)
    note_card_problem(record.id, problem)
    return marked


def _follow(work: Work, name: str, read: object, *, alike: bool) -> None:
    """Where another window chose differently for the photos, start afresh any field that was not touched here."""
    if work.tab is None:
        return
    untouched = work.tab.chosen.get(name) == read
    work.tab.chosen[name] = read
    if untouched and not alike:
        del work.tab.chosen[name]
        work.tab.turns[name] += 1
        st.rerun()


def _noted(work: Work, photo: PhotoRecord, light: str) -> PhotoRecord:
    """The photo with another light; measured again if it had been, because its uncertainty depends on the light."""
    noted = replace(photo, light=light)
    if noted.marks is None or (noted.reading is None and noted.failure is None):
        return noted
    return workflow.measure_record(work.store, noted, noted.marks)


def _field(work: Work, name: str) -> str:
    """Key of a field of this step, a new one each time the field starts afresh."""
    turn = work.tab.turns[name] if work.tab is not None else 0
    return f"{name}-{fields_of(work)}-{turn}" if turn else f"{name}-{fields_of(work)}"


def _last_photo(work: Work) -> PhotoRecord | None:
    """The newest photo whose light and card are likeliest to be used again."""
    if work.photos:
        return work.photos[0]
    earlier = sorted(work.store.photos.find(client_id=work.client.id), key=lambda photo: photo.added_at)
    return earlier[-1] if earlier else None
