"""From a file that somebody adds to a kept photo with its reading."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from tracker.errors import CardError, InvalidEntry, TrackerError
from tracker.measure import Picture, Settings, Suggestion, find_marks, measure_photo, with_card
from tracker.measure.reading import LIGHTS, DarkHalf, Marks, Point
from tracker.measure.reference_card import Corners, card_kind, read_as
from tracker.photo import Limits, Photo, Turns, clean_jpeg, read_kept, read_photo
from tracker.record.records import ROLES, PhotoRecord, new_id, now
from tracker.store import Store
from tracker.workflow.cards import card_size

OPENING = Turns()
"""One photo at a time in the whole program, in the order of asking: forty uploads at once need no more memory than one.
Who waits holds the bytes of the file only."""

SMALLEST_SIDE = 240
"""Pixels of the shorter side: of four sample photos three gave a number at 240 x 320 pixels, and none at 200 x 267."""


class DecodedPhotos:
    """The photos that were opened last, so that moving a mark does not open the file again.

    Parameters
    ----------
    capacity : int, how many are held
    most_bytes : int, how much memory they may take together; the last is held whatever its size. A photo of 12
        million pixels takes 36 MB
    """

    def __init__(self, capacity: int = 4, most_bytes: int = 150_000_000) -> None:
        self._capacity, self._most_bytes = capacity, most_bytes
        self._photos: OrderedDict[str, Photo] = OrderedDict()
        self._one_at_a_time = threading.Lock()

    def get(self, store: Store, file: str) -> Photo:
        """The photo of a kept picture.

        Raises
        ------
        NotFound, StoreDamaged, PhotoError : where it cannot be read back
        """
        with self._one_at_a_time:
            photo = self._photos.pop(file, None) or _read_back(store, file)
            self._photos[file] = photo
            while len(self._photos) > 1 and self._are_too_much():
                self._photos.popitem(last=False)
        return photo

    def forget(self, files: Iterable[str] | None = None) -> None:
        """Let go of these photos, or of all."""
        with self._one_at_a_time:
            for file in list(self._photos) if files is None else files:
                self._photos.pop(file, None)

    def _are_too_much(self) -> bool:
        held = sum(photo.encoded.nbytes for photo in self._photos.values())
        return len(self._photos) > self._capacity or held > self._most_bytes


def take_in(
    store: Store,
    content: bytes,
    *,
    client_id: str,
    role: str,
    light: str,
    limits: Limits = Limits(),  # noqa: B008 - frozen
) -> tuple[PhotoRecord, Photo]:
    """Keep the picture of a photo, and nothing else that the file carried.

    The record is not kept yet: put it into a draft or save it.

    Parameters
    ----------
    content : bytes as received, not trusted; they are not kept
    role : str, one of `records.ROLES`
    light : str, one of `reading.LIGHTS`
    limits : Limits, the largest photo that is read

    Returns
    -------
    PhotoRecord : without marks
    Photo : as it was read; it takes three or six bytes a pixel while it is held

    Raises
    ------
    NotFound : no such client
    ConsentMissing : the client does not agree to being photographed
    PhotoError : the file cannot be read as a photo
    StoreFull : no room
    """
    if role not in ROLES or light not in LIGHTS:
        raise InvalidEntry(f"A photo cannot be noted as {role} in {light}.", "Choose both from the lists.")
    store.clients.get(client_id)
    store.consents.require_measuring(client_id)
    with OPENING:
        photo = read_photo(content, limits)
        kept = clean_jpeg(photo)
    file = store.pictures.put(kept)
    added_at = now()
    record = PhotoRecord(
        id=new_id(),
        client_id=client_id,
        visit_id=None,
        role=role,
        taken_at=photo.taken_at or added_at,
        added_at=added_at,
        camera=photo.camera,
        light=light,
        file=file,
        size=photo.size,
        marks=None,
        reading=None,
        warnings=photo.warnings,
        time_noted=photo.taken_at is not None,
        lens_mm=photo.lens_mm,
    )
    return record, photo


def suggest_marks(
    store: Store,
    photo: PhotoRecord,
    kind: str,
    reflectance: float | None = None,
    *,
    corners: Corners | None = None,
    path: tuple[Point, ...] | None = None,
    near: Point | None = None,
    decoded: DecodedPhotos | None = None,
    dark: DarkHalf | None = None,
) -> Suggestion:
    """A first suggestion of where the card and the hair are.

    Parameters
    ----------
    photo : PhotoRecord, its picture is kept
    kind : str, name of a kind of card
    reflectance : float or None, of the card's grey where it is better known
    corners : of the card, pixels, where a person placed them; None to find it
    path : points from root to tip, pixels, that a person tapped; None to look for the hair without help
    near : a point inside the card, pixels, that a person tapped; None to look everywhere
    decoded : DecodedPhotos or None, to open a file only once
    dark : DarkHalf or None, what is known of the card's dark patch

    Raises
    ------
    NotFound, StoreDamaged : the picture cannot be read back
    InvalidMarks : no such kind of card
    """
    with OPENING:
        picture = _photo(store, photo.file, decoded)
        found = find_marks(picture, kind, reflectance, corners=corners, path=path, near=near, dark=dark)
    # a size that the card itself shows counts before one that was noted
    return replace(found, marks=replace(found.marks, size_mm=found.marks.size_mm or card_size(store, kind)))


def card_fault(
    store: Store, photo: PhotoRecord, marks: Marks, *, decoded: DecodedPhotos | None = None
) -> CardError | None:
    """What tells that the corners of these marks do not lie on a card of their kind; None where they do.

    Parameters
    ----------
    photo : PhotoRecord, its picture is kept
    decoded : DecodedPhotos or None, to open a file only once

    Raises
    ------
    NotFound, StoreDamaged : the picture cannot be read back
    InvalidMarks : no such kind of card
    """
    with OPENING:
        return fault_in(_photo(store, photo.file, decoded), marks)


def fault_in(picture: Picture, marks: Marks) -> CardError | None:
    """What tells that the corners of these marks do not lie on a card of their kind; None where they do, or are not.

    Parameters
    ----------
    picture : Picture, upright codes
    """
    return None if marks.corners is None else read_as(card_kind(marks.card_kind), picture.encoded, marks.corners)


def measure_record(
    store: Store, photo: PhotoRecord, marks: Marks, *, decoded: DecodedPhotos | None = None
) -> PhotoRecord:
    """The photo with these marks and what was measured: from the kept picture, so it can always be repeated.

    Parameters
    ----------
    photo : PhotoRecord, its picture is kept
    decoded : DecodedPhotos or None, to open a file only once

    Returns
    -------
    PhotoRecord : with a reading, or with the reason why there is no number in `failure`. Not saved yet.
    """
    try:
        own = replace(settings_in_force(store), card_stood=photo.card_stood is True)
        with OPENING:
            kept = _photo(store, photo.file, decoded)
            # the kept copy is sound, so what was odd about the original file is remembered beside it
            marks = with_card(kept, marks)
            reading = measure_photo(replace(kept, warnings=photo.warnings), marks, own, light=photo.light)
    except TrackerError as error:
        small = too_small(photo.size)
        why = error.message if small is None else small.message  # other marks would not help
        return replace(photo, marks=marks, reading=None, failure=why)
    return replace(photo, marks=marks, reading=reading, failure=reading.failure)


def too_small(size: tuple[int, int]) -> InvalidEntry | None:
    """What is wrong with a photo of that width and height if it has too few pixels to be measured; else None."""
    if min(size) >= SMALLEST_SIDE:
        return None
    return InvalidEntry(
        f"The photo has {size[0]} × {size[1]} pixels: too small to measure.",
        "Use the photo as the camera took it, not a preview or a copy from a message.",
        value=min(size),
        limit=SMALLEST_SIDE,
        unit="pixels",
    )


def card_stood_last(store: Store, client_id: str | None = None) -> bool | None:
    """Whether the card stood when a client was photographed last, else in the studio's last photos.

    Parameters
    ----------
    client_id : str or None, None for the studio's last photos only

    Returns
    -------
    bool or None : None where nobody noted it
    """
    of_client = store.photos.find(client_id=client_id) if client_id is not None else []
    of_studio = [photo for role in ROLES for photo in store.photos.latest(role, 1)]
    newest_first = (photo for photos in (of_client, of_studio) for photo in sorted(photos, key=_added_at, reverse=True))
    return next((photo.card_stood for photo in newest_first if photo.card_stood is not None), None)


def _added_at(photo: PhotoRecord) -> datetime:
    return photo.added_at


def settings_in_force(store: Store) -> Settings:
    """How photos are measured in this studio: with its own spread between photos, once it has one."""
    return Settings(repeatability=store.yardsticks.in_force().spread)


def _photo(store: Store, file: str, decoded: DecodedPhotos | None) -> Photo:
    return _read_back(store, file) if decoded is None else decoded.get(store, file)


def _read_back(store: Store, file: str) -> Photo:
    return read_kept(store.pictures.get(file))
