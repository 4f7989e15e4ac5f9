"""Change a draft that may be open in two windows, so that neither loses a photo or a word.

Every change is made to the draft as it is kept, not to what a window read some time ago. Changes by two windows to
different things are combined; where both changed the same thing differently the later is kept, and the other stays in
the log of edits, to be taken back.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tracker.errors import DraftChanged, NotFound
from tracker.record.records import Draft, PhotoRecord, Visit, now
from tracker.store import Store

PARTS = {
    "date": ("on",),
    "services": ("services",),
    "history": ("history",),
    "start": ("starting_point",),
    "steps": ("steps",),
    "agreed": ("limits", "washes_per_week"),
    "note": ("note",),
    "next": ("next_time",),
}
"""The parts of a visit for whoever fills it in, each with its fields: the smallest things that two windows can
change without contradicting each other."""


@dataclass(frozen=True, slots=True)
class Change:
    """What a change makes of the draft as it is kept.

    Attributes
    ----------
    draft : Draft, as it should be
    clashes : names of `PARTS` and identifiers of photos that another window changed too, and differently
    """

    draft: Draft
    clashes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Changed:
    """What a change did.

    Attributes
    ----------
    before : Draft, as it was kept when the change was made
    draft : Draft, as it is kept now
    clashes : as in `Change`; where there are any, `before` is in the log of edits
    """

    before: Draft
    draft: Draft
    clashes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Seen:
    """What a window knew of a visit's words when its fields last agreed with the draft.

    Attributes
    ----------
    read : Visit, as the fields read then: fields may say the same thing in another form, such as another order
    kept : Visit, as the draft had it then
    """

    read: Visit
    kept: Visit


def change_draft(store: Store, draft_id: str, change: Callable[[Draft], Change]) -> Changed:
    """Change a draft as it is kept now, whoever has changed it meanwhile.

    Parameters
    ----------
    change : called with the draft as it is kept; called again if another window was faster

    Raises
    ------
    NotFound : it was saved for good or thrown away
    ConsentMissing : it has photos, and the client does not agree to being measured
    """
    while True:
        kept = store.drafts.get(draft_id)
        wanted = change(kept)
        if wanted.draft == kept:
            return Changed(kept, kept, ())
        try:
            saved = store.drafts.save(
                replace(wanted.draft, updated_at=now(), revision=kept.revision), apart=kept if wanted.clashes else None
            )
        except DraftChanged:
            continue
        except NotFound:
            store.drafts.get(draft_id)  # if it is the draft that went, and not a picture, say so
            raise
        return Changed(kept, saved, wanted.clashes)


def at_step(step: int) -> Callable[[Draft], Change]:
    """The draft, left at that step."""
    return lambda kept: Change(replace(kept, step=step))


def with_photos(photos: Sequence[PhotoRecord]) -> Callable[[Draft], Change]:
    """The draft with more photos; one whose picture is already in is not added again."""

    def change(kept: Draft) -> Change:
        there = {photo.file for photo in kept.photos}
        return Change(replace(kept, photos=(*kept.photos, *(photo for photo in photos if photo.file not in there))))

    return change


def without_photo(photo_id: str) -> Callable[[Draft], Change]:
    """The draft without one photo."""
    return lambda kept: Change(replace(kept, photos=tuple(photo for photo in kept.photos if photo.id != photo_id)))


def with_changed_photos(seen: Sequence[PhotoRecord], changed: Sequence[PhotoRecord]) -> Callable[[Draft], Change]:
    """The draft with photos changed, such as their marks; one that was removed meanwhile stays removed.

    Parameters
    ----------
    seen : the photos as the window knew them
    changed : those that it changed, as they should be
    """
    known = {photo.id: photo for photo in seen}
    wanted = {photo.id: photo for photo in changed}

    def change(kept: Draft) -> Change:
        photos = tuple(wanted.get(photo.id, photo) for photo in kept.photos)
        clashes = tuple(
            photo.id
            for photo in kept.photos
            if photo.id in wanted and photo not in (known.get(photo.id, photo), wanted[photo.id])
        )
        return Change(replace(kept, photos=photos), clashes)

    return change


def with_words(seen: Seen, read: Visit) -> Callable[[Draft], Change]:
    """The draft with the words of a visit.

    Parameters
    ----------
    seen : Seen, what the window knew when it last looked
    read : Visit, as its fields read now
    """

    def change(kept: Draft) -> Change:
        if kept.visit is None:
            return Change(replace(kept, visit=read))
        visit, clashes = meet(seen, read, kept.visit)
        return Change(replace(kept, visit=visit), clashes)

    return change


def meet(seen: Seen, read: Visit, kept: Visit) -> tuple[Visit, tuple[str, ...]]:
    """Combine what this window and another did to a visit.

    Returns
    -------
    Visit : each part as this window has it if it was changed here, else as it is kept
    tuple : names of the parts that both changed, and differently
    """
    taken: dict[str, Any] = {}
    clashes = []
    for name, fields in PARTS.items():
        here = _values(read, fields)
        if here == _values(seen.read, fields):
            continue
        taken |= here
        if _values(kept, fields) not in (_values(seen.kept, fields), here):
            clashes.append(name)
    return replace(kept, **taken), tuple(clashes)


def parts_unlike(one: Visit, other: Visit) -> tuple[str, ...]:
    """Names of the parts in which two states of a visit differ."""
    return tuple(name for name, fields in PARTS.items() if _values(one, fields) != _values(other, fields))


def with_part(visit: Visit, name: str, other: Visit) -> Visit:
    """The visit with one part as the other has it."""
    return replace(visit, **_values(other, PARTS[name]))


def _values(visit: Visit, fields: Sequence[str]) -> dict[str, Any]:
    return {name: getattr(visit, name) for name in fields}
