"""The unfinished job that the four steps hand on to one another."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import streamlit as st

from tracker import workflow
from tracker.errors import NotFound, TrackerError
from tracker.measure import Suggestion
from tracker.record.records import AFTER, BEFORE, PROGRESS, ROLES, Client, Draft, PhotoRecord, Visit, new_id
from tracker.store import Store
from tracker.ui.opened import OPENED
from tracker.ui.pages.new_visit.tab import Tab, tab_of
from tracker.ui.parts.focus import moved_on
from tracker.ui.parts.held import ANYBODY, drop, found, held, put
from tracker.ui.parts.marking import note_found
from tracker.ui.parts.notices import say_on_next_page
from tracker.ui.parts.waiting import visit_changed
from tracker.words import ROLE_WORDS
from tracker.workflow.copies import Small
from tracker.workflow.drafts import Change, Changed, at_step, with_changed_photos, with_photos

LAST_STEP = 3
"""The step where what was done is noted."""


@dataclass
class _Fields:
    """What the fields of the first step are called after, for a client before there is a draft, then for the draft."""

    name: str = field(default_factory=new_id)


@dataclass
class _Smalls:
    """The small pictures that this window made, by the file of the photo."""

    by_file: dict[str, Small] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Work:
    """What a step needs to know.

    Attributes
    ----------
    kind : str, ``visit`` or ``progress``
    draft : Draft or None, None until the first photo is in: merely opening the page keeps nothing
    tab : Tab or None, what this window knows about the draft
    """

    store: Store
    client: Client
    kind: str
    draft: Draft | None
    tab: Tab | None = None

    @property
    def roles(self) -> tuple[str, ...]:
        """The roles of the photos in this job."""
        return (PROGRESS,) if self.kind == PROGRESS else (BEFORE, AFTER)

    @property
    def photos(self) -> tuple[PhotoRecord, ...]:
        """The photos so far, before first, in the order they were taken."""
        found = self.draft.photos if self.draft is not None else ()
        return tuple(sorted(found, key=lambda photo: (ROLES.index(photo.role), photo.taken_at, photo.added_at)))

    @property
    def kept_visit(self) -> Visit | None:
        """The visit as it was saved before, where the draft changes one."""
        return visit_changed(self.store, self.draft) if self.draft is not None else None

    @property
    def changes_kept_photo(self) -> bool:
        """True where the draft changes a progress photo that was saved before."""
        return self.kind == PROGRESS and any(self.store.photos.has(photo.id) for photo in self.photos)

    def of(self, role: str) -> tuple[PhotoRecord, ...]:
        """All photos in that role; several are repeats of one state."""
        return tuple(photo for photo in self.photos if photo.role == role)

    def name(self, photo: PhotoRecord) -> str:
        """What a photo is called here: with its number where it is one of several."""
        row = [other.id for other in self.of(photo.role)]
        word = ROLE_WORDS[photo.role]
        return f"{word} {1 + row.index(photo.id)}" if len(row) > 1 and photo.id in row else word


def fields_of(work: Work) -> str:
    """What the fields of the first step are named after: each draft has its own, even before its first photo.

    Fields shared by two drafts would carry the light and the card of one into the other.
    """
    if work.draft is None:
        return held(_Fields, work.client.id).name
    fields = found(_Fields, work.draft.id)
    return fields.name if fields is not None else work.draft.id


def _begun(work: Work) -> Work:
    """The work with a new draft, which takes over the fields that were filled in before it existed."""
    draft = workflow.start_draft(work.store, work.client.id, work.kind)
    put(_Fields(fields_of(work)), draft.id)
    drop(_Fields, work.client.id)
    return replace(work, draft=draft, tab=tab_of(draft))


def keep(work: Work, change: Callable[[Draft], Change]) -> Changed:
    """Change the draft as it is now kept; if it is gone, the page says so instead."""
    if work.draft is None or work.tab is None:
        raise AssertionError("only a draft that is there is changed")
    changed = _changed(work, work.draft.id, change)
    if changed is None:
        st.rerun()
    return changed


def _changed(work: Work, draft_id: str, change: Callable[[Draft], Change]) -> Changed | None:
    """What the change did to the draft as it is now kept; None where it is gone."""
    try:
        changed = workflow.change_draft(work.store, draft_id, change)
    except NotFound:
        if _is_there(work.store, draft_id):
            raise
        return None
    if work.tab is not None:
        work.tab.met(changed)
    return changed


@dataclass(slots=True)
class Adding:
    """Where adding photos has got to, for one client in one window.

    Streamlit may cut a run short wherever it touches the session or the page, and does so when more files arrive; a run
    that was told to end may still be reading photos when the next one begins. So this is a plain object with a lock:
    what it holds is changed in one go, together with the draft, so no photo is lost or taken in twice.

    Attributes
    ----------
    fields : str, what the fields of the step are called after
    draft : str or None, the draft that was begun and may not be in the address yet
    anew : bool, True where another window closed the draft, so that these photos start another
    turns : dict of int by role, how often files were taken in
    troubles : dict of errors by role, still to be said
    found : dict of Suggestion, where card and hair were found, by the identifier of the photo
    reading : lock, held from looking at `turns` until photos are kept
    """

    fields: str = ""
    draft: str | None = None
    anew: bool = False
    turns: dict[str, int] = field(default_factory=dict)
    troubles: dict[str, list[TrackerError]] = field(default_factory=dict)
    found: dict[str, Suggestion] = field(default_factory=dict)
    reading: threading.Lock = field(default_factory=threading.Lock)


def adding(work: Work) -> Adding:
    """How far adding photos has got; ask before reading any, since asking touches the session."""
    how_far = held(Adding, work.client.id, work.kind)
    how_far.fields = fields_of(work)
    return how_far


def keep_photos(work: Work, photos: Sequence[PhotoRecord], how_far: Adding) -> None:
    """Add photos to the draft, which starts with the first one, and starts again where another window closed it.

    Touches neither session nor page.
    """
    known = work.draft.id if work.draft is not None else how_far.draft  # an overlapping run may have started one
    changed = _changed(work, known, with_photos(photos)) if known is not None else None
    if changed is None:
        how_far.anew = work.draft is not None
        begun = workflow.start_draft(work.store, work.client.id, work.kind)
        changed = workflow.change_draft(work.store, begun.id, with_photos(photos))
    how_far.draft = changed.draft.id


def catch_up(client_id: str, kind: str) -> str | None:
    """Bring session and address up to what was added; the draft that was begun, where the address lacks it."""
    how_far = found(Adding, client_id, kind)
    if how_far is None or how_far.draft is None:
        return None
    for photo_id, suggestion in how_far.found.items():
        note_found(photo_id, suggestion)
    put(_Fields(how_far.fields), how_far.draft)
    drop(_Fields, client_id)
    st.query_params.from_dict({"draft": how_far.draft})
    if how_far.anew:
        say_on_next_page(
            "Meanwhile this draft was saved or thrown away in another window, so what you added starts a new one."
        )
    how_far.anew = False
    begun, how_far.draft = how_far.draft, None
    how_far.found.clear()
    return begun


def go_on_without_photos(work: Work) -> None:
    """Move to the step for what was done; the draft starts here if there is none."""
    begun = work if work.draft is not None else _begun(work)
    if begun.draft is not None:
        st.query_params.from_dict({"draft": begun.draft.id})
    go_to_step(begun, LAST_STEP)


def put_photo(work: Work, photo: PhotoRecord, seen: PhotoRecord | None = None) -> None:
    """Put a changed photo in place of the one in the draft; `seen` is the photo as this window knew it."""
    if work.draft is not None:
        known = work.photos if seen is None else (seen,)
        keep(work, with_changed_photos(known, (photo,)))


def go_to_step(work: Work, step: int) -> None:
    """Move to a step and show it; another window stays where it is."""
    if work.tab is not None:
        keep(work, at_step(step))
        work.tab.step = step
    moved_on()
    st.rerun()


def _is_there(store: Store, draft_id: str) -> bool:
    try:
        store.drafts.get(draft_id)
    except NotFound:
        return False
    return True


def small_picture(store: Store, photo: PhotoRecord) -> Small:
    """The small picture of a photo, made once in this window."""
    by_file = held(_Smalls, ANYBODY).by_file
    if photo.file not in by_file:
        by_file[photo.file] = workflow.small_picture_of(store, photo)
    return by_file[photo.file]


def forget_opened(work: Work) -> None:
    """Let go of the opened photos: the job is done."""
    OPENED.forget(photo.file for photo in work.photos)
    drop(_Smalls, ANYBODY)
