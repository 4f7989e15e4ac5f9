"""What to look at before a photo is saved: checks that failed without stopping the number, and a different framing."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from tracker.measure.quality import Framing, check_framing
from tracker.measure.quality.taking import check_taking
from tracker.measure.reading import Check
from tracker.record.records import AFTER, BEFORE, PhotoRecord
from tracker.store import Store
from tracker.ui.look import check_list
from tracker.ui.navigation import link
from tracker.words import ROLE_WORDS, count


def warn_before_saving(store: Store, photos: Sequence[PhotoRecord]) -> None:
    """Every warning of these photos with its advice; nothing where there is none."""
    found = [(photo, framing(store, photo, photos)) for photo in photos]
    told = [(photo, [*_own(photo), *unlike]) for photo, unlike in found]
    number = sum(len(warnings) for _, warnings in told)
    if not number:
        return
    st.subheader(f"Before you save: {count(number, 'thing')} to look at", anchor=False)
    st.markdown("The numbers stand. A better photo would make them surer, and is quickest to take now.")
    for photo, warnings in told:
        if warnings:
            st.markdown(f"**{_name(photo, photos)}**")
            check_list(warnings)
    link("photo_guide", "How to take the photo")


def warn_of_taking(notes: Sequence[str]) -> None:
    """What the file of a photo says of flash, zoom and looks, for photos whose reading is not shown."""
    found = [check for check in map(check_taking, notes) if check is not None and check.warns]
    if found:
        check_list(found)


def _own(photo: PhotoRecord) -> tuple[Check, ...]:
    return photo.reading.warnings if photo.reading is not None else ()


def framing(store: Store, photo: PhotoRecord, photos: Sequence[PhotoRecord]) -> list[Check]:
    """Where the framing differs from that of the photo before the service, or of the last visit."""
    earlier, when = _earlier(store, photo, photos)
    if photo.marks is None or earlier is None or earlier.marks is None:
        return []
    checks = check_framing(Framing.of(photo.marks, photo.size), Framing.of(earlier.marks, earlier.size), when=when)
    return [check for check in checks if not check.ok]


def _earlier(store: Store, photo: PhotoRecord, photos: Sequence[PhotoRecord]) -> tuple[PhotoRecord | None, str]:
    """The photo whose framing to match: the one before the service, else the client's last one with a number."""
    if photo.role == AFTER:
        before = next((other for other in photos if other.role == BEFORE and other.reading is not None), None)
        if before is not None:
            return before, "in the before photo"
    here = {other.id for other in photos} | {other.visit_id for other in photos if other.visit_id}
    kept = [
        other
        for other in store.photos.find(client_id=photo.client_id)
        if other.id not in here
        and other.visit_id not in here
        and other.taken_at < photo.taken_at
        and other.reading is not None
        and other.reading.ok
    ]
    return (max(kept, key=lambda other: other.taken_at), "last time") if kept else (None, "")


def _name(photo: PhotoRecord, photos: Sequence[PhotoRecord]) -> str:
    alike = [other.id for other in photos if other.role == photo.role]
    number = f" {alike.index(photo.id) + 1}" if len(alike) > 1 else ""
    return f"{ROLE_WORDS[photo.role]} photo{number}"
