"""Addresses of the pictures that the app's own routes serve, and how a photo is described in words."""

from __future__ import annotations

import hashlib

from tracker.compare.alignment import align
from tracker.record.records import PhotoRecord, to_json
from tracker.words import ROLE_WORDS, as_date, day

SMALL, MEDIUM, LARGE = 320, 800, 1600


def picture_url(photo: PhotoRecord, edge: int = MEDIUM) -> str:
    """The photo as it was taken."""
    return f"/picture/{photo.id}/{edge}.jpg"


def balanced_url(photo: PhotoRecord, edge: int = MEDIUM) -> str:
    """The photo with its light corrected by the card; as it was taken where there is no correction."""
    if photo.reading is None:
        return picture_url(photo, edge)
    return f"/picture/{photo.id}/balanced/{edge}.jpg?v={marks_hash(photo)}"


def measured_url(photo: PhotoRecord, edge: int = LARGE) -> str:
    """The photo with the measured pixels drawn on it."""
    return f"/picture/{photo.id}/measured/{edge}.jpg?v={marks_hash(photo)}"


def aligned_url(later: PhotoRecord, earlier: PhotoRecord, edge: int = LARGE) -> str | None:
    """The balanced later photo with its hair on that of the earlier one; None where the two do not fit."""
    if later.reading is None or later.marks is None or earlier.marks is None:
        return None
    if align(earlier.marks, later.marks) is None:
        return None
    version = f"{marks_hash(later)}{marks_hash(earlier)}"
    return f"/picture/{later.id}/aligned/{edge}.jpg?to={earlier.id}&v={version}"


def marks_hash(photo: PhotoRecord) -> str:
    """A short name for the marks of a photo: a new drawing gets a new address, an old one may be cached."""
    text = to_json(photo.marks) if photo.marks is not None else ""
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def picture_ratio(photo: PhotoRecord) -> float:
    """Width over height."""
    width, height = photo.size
    return width / height


def photo_words(photo: PhotoRecord) -> str:
    """A photo in words, for those who cannot see it: never whose hair it is."""
    return f"{ROLE_WORDS[photo.role]} photo of the hair, taken {day(as_date(photo.taken_at))}"


def small_picture(photo: PhotoRecord | None) -> tuple[str, str] | None:
    """Address and words of the small version, for a line of a list."""
    return (balanced_url(photo, SMALL), photo_words(photo)) if photo is not None else None
