"""Everything that happened to one client's hair, newest first."""

from __future__ import annotations

from datetime import date

import streamlit as st

from tracker.record.records import AFTER, BEFORE, PROGRESS, PhotoRecord, Visit
from tracker.store import Store
from tracker.ui.look import empty
from tracker.ui.look import photo as show_photo
from tracker.ui.navigation import link
from tracker.ui.parts.more import ask_for_more, shown
from tracker.ui.parts.notices import told
from tracker.ui.parts.pictures import SMALL, balanced_url, photo_words
from tracker.ui.parts.reading_view import no_number, reading_swatches
from tracker.ui.parts.rows import lift_words, role_photo, visit_words
from tracker.ui.parts.undo import UNDO_WORDS, remember_deletion
from tracker.ui.parts.words import plain
from tracker.ui.parts.yardstick_words import scale_words
from tracker.ui.session import in_force
from tracker.words import ago, as_date, day

PAGE = 10
"""Visits and photos shown before earlier ones are asked for."""


def timeline(store: Store, client_id: str) -> None:
    """Visits and progress photos with their colours and numbers."""
    st.header("Visits and progress photos", anchor=False)
    entries: list[tuple[date, Visit | str]] = [(visit.on, visit) for visit in store.visits.of_client(client_id)]
    entries += [(as_date(taken_at), photo_id) for photo_id, taken_at in store.photos.days(client_id, PROGRESS)]
    if not entries:
        empty("card", "No visits yet. The first one takes a before photo, an after photo and a minute.")
    else:
        st.caption(plain(scale_words(in_force().scale)))
    entries.sort(key=lambda item: item[0], reverse=True)
    most = shown(PAGE, "timeline", client_id)
    for _, entry in entries[:most]:
        if isinstance(entry, Visit):
            with st.container(key=f"event-{entry.id}"):
                _visit(entry, store.photos.find(visit_id=entry.id))
        else:
            with st.container(key=f"event-{entry}"), told():
                _progress(store, store.photos.get(entry))
    if len(entries) > most:
        ask_for_more(f"Show earlier ones ({len(entries) - most})", PAGE, "timeline", client_id)


def _visit(visit: Visit, photos: list[PhotoRecord]) -> None:
    link("compare", visit_words(visit, date.today()), visit=visit.id)
    before, after = role_photo(photos, BEFORE), role_photo(photos, AFTER)
    there = [photo for photo in (before, after) if photo is not None]
    if not there:
        st.caption("No photo was taken.")
        return
    finding = lift_words(visit, photos)
    if finding:
        st.markdown(f"**{finding}**")
    _photos_and_numbers(there)


def _progress(store: Store, photo: PhotoRecord) -> None:
    taken = as_date(photo.taken_at)
    st.markdown(f"**Progress photo** · {day(taken)}, {ago(taken)}")
    _photos_and_numbers([photo])
    with st.popover("Delete this photo", type="tertiary"):
        st.markdown(f"Deletes the photo and its numbers. {UNDO_WORDS}")
        if st.button("Delete", key=f"delete-{photo.id}"):
            with told():
                remember_deletion(store.photos.delete(photo.id), f"The photo of {day(taken)} is deleted.")
                st.rerun()


def _photos_and_numbers(photos: list[PhotoRecord]) -> None:
    """The photos small, and the colours of the last one beside them."""
    pictures, colours = st.columns([2, 3], gap="medium")
    with pictures:
        for place, photo in zip(st.columns(2, wrap=False), photos, strict=False):
            with place:
                show_photo(balanced_url(photo, SMALL), photo_words(photo), ratio=3 / 4)
    with colours:
        reading_swatches(photos[-1])
        missing = no_number(photos[-1])
        if missing:
            st.markdown(plain(missing))
