"""The unfinished job that the four steps pass along."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import streamlit as st

from tracker import workflow
from tracker.records import AFTER, BEFORE, PROGRESS, ROLES, Client, Draft, PhotoRecord
from tracker.ui.parts.words import ROLE_WORDS

if TYPE_CHECKING:
    from tracker.store import Store

LAST_STEP = 3
"""Where what was done is noted."""


@dataclass(frozen=True, slots=True)
class Work:
    """What a step needs to know.

    Attributes
    ----------
    kind : str, ``visit`` or ``progress``
    draft : Draft or None, None until the first photo is in: opening the page alone keeps nothing
    """

    store: Store
    client: Client
    kind: str
    draft: Draft | None

    @property
    def roles(self) -> tuple[str, ...]:
        """The photos that this job is made of."""
        return (PROGRESS,) if self.kind == PROGRESS else (BEFORE, AFTER)

    @property
    def photos(self) -> tuple[PhotoRecord, ...]:
        """The photos so far, before first, in the order they were taken."""
        found = self.draft.photos if self.draft is not None else ()
        return tuple(sorted(found, key=lambda photo: (ROLES.index(photo.role), photo.taken_at, photo.added_at)))

    def of(self, role: str) -> tuple[PhotoRecord, ...]:
        """All photos in that role: more than one are repeats of one state."""
        return tuple(photo for photo in self.photos if photo.role == role)

    def photo(self, role: str) -> PhotoRecord | None:
        """The first photo in that role."""
        return next(iter(self.of(role)), None)

    def name(self, photo: PhotoRecord) -> str:
        """What a photo is called here: with its number where it is one of several."""
        row = [other.id for other in self.of(photo.role)]
        word = ROLE_WORDS[photo.role]
        return f"{word} {1 + row.index(photo.id)}" if len(row) > 1 and photo.id in row else word


def keep(store: Store, draft: Draft) -> None:
    """Keep the draft as it is now."""
    workflow.keep_draft(store, draft)


def keep_photos(work: Work, photos: Sequence[PhotoRecord]) -> None:
    """Add photos to the draft, which begins with the first one."""
    draft = work.draft or workflow.start_draft(work.store, work.client.id, work.kind)
    keep(work.store, replace(draft, photos=(*draft.photos, *photos)))
    st.query_params.from_dict({"draft": draft.id})


def go_on_without_photos(work: Work) -> None:
    """Move to what was done; the draft begins here where there is none."""
    draft = work.draft or workflow.start_draft(work.store, work.client.id, work.kind)
    keep(work.store, replace(draft, step=LAST_STEP))
    st.query_params.from_dict({"draft": draft.id})
    st.rerun()


def put_photo(work: Work, photo: PhotoRecord) -> None:
    """Put a changed photo in the place of the one that the draft holds now."""
    if work.draft is None:
        return
    draft = work.store.draft(work.draft.id)
    photos = tuple(photo if other.id == photo.id else other for other in draft.photos)
    keep(work.store, replace(draft, photos=photos))


def go_to_step(work: Work, step: int) -> None:
    """Move to a step and show it."""
    if work.draft is not None:
        keep(work.store, replace(work.draft, step=step))
    st.rerun()


def decoded() -> workflow.DecodedPhotos:
    """The photos that this window opened last, so that moving a mark does not open the file again."""
    held: workflow.DecodedPhotos = st.session_state.setdefault("decoded-photos", workflow.DecodedPhotos(2))
    return held


def forget_decoded() -> None:
    """Let go of the opened photos: the job is done."""
    st.session_state.pop("decoded-photos", None)


def card_problem_key(photo: PhotoRecord) -> str:
    """Where the sentence about a card that was not found is kept until the marks are confirmed."""
    return f"card-problem-{photo.id}"
