"""Photos measured by an earlier version of the method, measured again: one, or as many as there are."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Literal

from tracker import METHOD_VERSION
from tracker.errors import (
    Conflict,
    ConsentMissing,
    DatabaseDamaged,
    HairError,
    InvalidMarks,
    NoNumberAgain,
    NotFound,
    PhotoError,
    StoreDamaged,
    StoreError,
    TrackerError,
)
from tracker.measure.reading import RIBBON, Marks
from tracker.record.records import PROGRESS, Draft, PhotoRecord
from tracker.store import Store
from tracker.workflow.drafts import Change, change_draft, with_changed_photos
from tracker.workflow.photos import OPENING, DecodedPhotos, measure_record, suggest_marks
from tracker.workflow.visits import VISIT, start_draft
from tracker.workflow.words import clean_line

_log = logging.getLogger("tracker")

_MARKS_STEP = 1
_TRIES = 3  # a photo may be changed by a person while it is measured

Why = Literal["hair", "number", "picture"]
"""Why a photo keeps its earlier reading: the hair is not found or in doubt, there would be no number, or its picture
cannot be read back."""


@dataclass(frozen=True, slots=True)
class Tally:
    """How far measuring again has got.

    Attributes
    ----------
    total : int, photos asked for
    measured : int, those with a new reading
    left : int, those that keep the one they had, because a person has to look at them
    gone : int, those that were deleted or withdrawn meanwhile
    """

    total: int
    measured: int = 0
    left: int = 0
    gone: int = 0

    @property
    def done(self) -> int:
        """Photos dealt with."""
        return self.measured + self.left + self.gone


def measure_again(
    store: Store,
    photo_ids: Sequence[str],
    *,
    by: str = "",
    stop: Callable[[], bool] = lambda: False,
    progress: Callable[[Tally], object] = lambda _tally: None,
) -> Tally:
    """Measure these photos again, one after the other; each is saved as soon as it is measured.

    So whatever ends it, each photo has its earlier reading or its new one, and what is done need not be done again. A
    photo that cannot be measured again keeps its reading and is noted with the reason.

    Parameters
    ----------
    by : str, who asked for it, for the log of edits
    stop : asked before each photo, True to end
    progress : told after each photo

    Raises
    ------
    StoreFull : no room; what was measured before is kept
    StoreError : the database cannot be written any more
    """
    tally = Tally(len(photo_ids))
    for photo_id in photo_ids:
        if stop():
            break
        tally = _counted(tally, _one(store, photo_id, by))
        progress(tally)
    return tally


def remeasure(store: Store, photo_id: str, *, by: str = "") -> PhotoRecord:
    """Measure a kept photo again with its marks, by the method in force, and save the result.

    Where a ribbon was marked, the whole hair is looked for along it. The earlier reading stays in the log of edits, and
    drafts that hold the photo get the new one.

    Raises
    ------
    NotFound, StoreDamaged, PhotoError : no such photo, or its picture cannot be read back
    InvalidMarks : it was never marked
    HairError : the hair is not found along the ribbon, or it is in doubt
    NoNumberAgain : it has a number and would have none
    ConsentMissing : the client does not agree to being measured
    Conflict : it was changed meanwhile

    Notes
    -----
    Whatever is raised, nothing is changed.
    """
    photo = store.photos.get(photo_id)
    if photo.marks is None:
        raise InvalidMarks("This photo has no marks yet.", "Mark the card and the hair first.")
    store.consents.require_measuring(photo.client_id)
    opened = DecodedPhotos(1)
    with OPENING:
        opened.get(store, photo.file)  # one that cannot be read back keeps the number it has
    measured = measure_record(store, photo, _whole(store, photo, photo.marks, opened), decoded=opened)
    if _has_number(photo) and not _has_number(measured):
        raise NoNumberAgain(
            measured.failure or "Measured by the method in force, this photo has no number.",
            "Look at its marks.",
        )
    saved = store.remeasuring.save(photo, measured, by=clean_line(by, "The name of the person who measures"))
    _into_drafts(store, photo, saved)
    return saved


def mark_anew(store: Store, photo_id: str) -> Draft:
    """A draft in which the marks of a kept photo begin anew: of changes to its visit, or of the progress photo.

    One that is open already is gone on with.

    Raises
    ------
    NotFound, StoreDamaged : no such photo
    ConsentMissing : the client does not agree to being measured
    """
    photo = store.photos.get(photo_id)

    def change(kept: Draft) -> Change:
        there = next((each for each in kept.photos if each.id == photo_id), photo)
        anew = there if there.marks is None or there.marks.hair != RIBBON else _begun_anew(there, there.marks)
        others = kept.photos if there in kept.photos else (*kept.photos, there)
        photos = tuple(anew if each.id == photo_id else each for each in others)
        return Change(replace(kept, photos=photos, step=_MARKS_STEP))

    return change_draft(store, _draft_of(store, photo).id, change).draft


def _draft_of(store: Store, photo: PhotoRecord) -> Draft:
    """The open draft that holds a kept photo, or a new one of its visit; of a progress photo, one without it yet."""
    kind = PROGRESS if photo.visit_id is None else VISIT
    for draft in store.drafts.find(photo.client_id):
        if draft.kind == kind and any(each.id == photo.id for each in draft.photos):
            return draft
    visit = store.visits.get(photo.visit_id) if photo.visit_id is not None else None
    return start_draft(store, photo.client_id, kind, visit)


def _begun_anew(photo: PhotoRecord, marks: Marks) -> PhotoRecord:
    """The photo with the whole hair still to be found along its ribbon, and no reading until a person has looked."""
    return replace(photo, marks=replace(marks, width=None, outline=None), reading=None, failure=None)


def _whole(store: Store, photo: PhotoRecord, marks: Marks, opened: DecodedPhotos) -> Marks:
    """The marks by which the whole hair is measured."""
    if marks.hair != RIBBON:
        return marks
    found = suggest_marks(
        store,
        photo,
        marks.card_kind,
        marks.reflectance,
        corners=marks.corners,
        path=marks.path,
        decoded=opened,
        dark=marks.dark_half,
    )
    if found.hair is not None:
        raise found.hair
    if found.doubt is not None:
        raise found.doubt
    return replace(marks, width=None, outline=found.marks.outline)


def _into_drafts(store: Store, before: PhotoRecord, after: PhotoRecord) -> None:
    """Give open drafts the new reading of a photo that they hold as it was, so that saving them keeps it."""
    for draft in store.drafts.find(after.client_id):
        if before in draft.photos:
            with suppress(NotFound):  # saved or thrown away meanwhile
                change_draft(store, draft.id, with_changed_photos((before,), (after,)))


def _has_number(photo: PhotoRecord) -> bool:
    return photo.reading is not None and photo.reading.ok


def _one(store: Store, photo_id: str, by: str) -> Literal["measured", "left", "gone"]:
    """Measure one photo again, or note why it keeps its reading."""
    for _ in range(_TRIES):
        try:
            remeasure(store, photo_id, by=by)
        except Conflict:
            continue
        except ConsentMissing:
            return "gone"
        except (HairError, InvalidMarks, NoNumberAgain, PhotoError, NotFound, StoreDamaged) as error:
            if isinstance(error, DatabaseDamaged):
                raise
            return _left(store, photo_id, error)
        except StoreError:
            raise
        except Exception:  # a fault of the program in one photo must not keep the others from being measured
            _log.exception("a photo was not measured again")
            return _left(store, photo_id, NoNumberAgain("Measuring this photo again failed; the log has the details."))
        return "measured"
    return "left"


def _left(store: Store, photo_id: str, error: TrackerError) -> Literal["left", "gone"]:
    try:
        store.photos.get(photo_id)
    except NotFound:
        return "gone"
    except StoreDamaged:
        return "left"
    why: Why = "hair" if isinstance(error, HairError) else "number"
    if isinstance(error, PhotoError | NotFound | StoreDamaged):
        why = "picture"
    store.remeasuring.leave(photo_id, METHOD_VERSION, why, error.what)
    return "left"


def _counted(tally: Tally, what: Literal["measured", "left", "gone"]) -> Tally:
    return replace(
        tally,
        measured=tally.measured + (what == "measured"),
        left=tally.left + (what == "left"),
        gone=tally.gone + (what == "gone"),
    )
