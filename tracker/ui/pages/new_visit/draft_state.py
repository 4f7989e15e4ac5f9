"""The unfinished job that the four steps pass along."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import streamlit as st

from tracker import workflow
from tracker.records import AFTER, BEFORE, PROGRESS, ROLES, Client, Draft, PhotoRecord

if TYPE_CHECKING:
    from tracker.store import Store


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
        """The photos so far, before first."""
        found = self.draft.photos if self.draft is not None else ()
        return tuple(sorted(found, key=lambda photo: ROLES.index(photo.role)))

    def photo(self, role: str) -> PhotoRecord | None:
        """The photo in that role."""
        return next((photo for photo in self.photos if photo.role == role), None)


def keep(store: Store, draft: Draft) -> None:
    """Keep the draft as it is now."""
    workflow.keep_draft(store, draft)


def keep_photo(work: Work, photo: PhotoRecord) -> Draft:
    """Put a photo in its role, in place of one that was there; begins the draft with the first photo."""
    draft = work.draft or workflow.start_draft(work.store, work.client.id, work.kind)
    others = tuple(other for other in draft.photos if other.role != photo.role)
    draft = replace(draft, photos=(*others, photo))
    keep(work.store, draft)
    st.query_params.from_dict({"draft": draft.id})
    return draft


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
