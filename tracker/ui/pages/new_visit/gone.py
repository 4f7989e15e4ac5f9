"""A draft that is no longer there: whether it was saved, where it is, and what was typed here meanwhile."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from tracker.errors import NotFound
from tracker.record.records import PROGRESS, Draft, Visit
from tracker.store import Store
from tracker.ui.look import failure
from tracker.ui.navigation import link
from tracker.ui.pages.new_visit.visit_fields import TEXTS
from tracker.ui.parts.held import found, put
from tracker.ui.parts.words import plain

_STEP_TEXTS = ("-product", "-note", "-own", "-weave", "-sections")
"""Ends of the keys of a step's fields of plain text."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """A draft as this window showed it last.

    Attributes
    ----------
    changing : bool, True where it changes a visit that was saved before
    """

    draft: Draft
    changing: bool


@dataclass(frozen=True, slots=True)
class _Typed:
    """What stood in the fields of a draft when it was gone, each text with what it is."""

    texts: list[tuple[str, str]]


def remember(draft: Draft, *, changing: bool) -> None:
    """Note which draft this window shows, to be able to say later what became of it."""
    put(_Seen(draft, changing), draft.id)


def say_what_became_of_it(store: Store, draft_id: str) -> None:
    """The page in place of a draft that is gone."""
    st.title("New visit", anchor=False)
    seen = found(_Seen, draft_id)
    if seen is None:
        failure("There is no such draft any more.", "It was saved or thrown away, perhaps in another window.")
        link("clients", "Clients")
        return
    try:
        client = store.clients.get(seen.draft.client_id)
    except NotFound:
        failure("This client is no longer here.", "The draft went with the client’s record.")
        return
    what = "progress photo" if seen.draft.kind == PROGRESS else "visit"
    if _was_saved(store, seen):
        failure(f"This {what} has already been saved, perhaps from another window.", "It was not saved a second time.")
    elif seen.changing:
        failure("These changes were thrown away, perhaps in another window.", "The visit stays as it was saved before.")
    else:
        failure(f"This {what} was thrown away before it was saved, perhaps in another window.")
    link("client", f"All visits of {plain(client.name)}", client=client.id)
    _what_was_typed(store, seen.draft)


def _was_saved(store: Store, seen: _Seen) -> bool:
    draft = seen.draft
    if draft.visit is not None and store.visits.has(draft.visit.id):
        # the visit was there before the change: only a later revision shows that the change was saved
        return not seen.changing or store.visits.get(draft.visit.id).revision > draft.visit.revision
    held = {photo.id for photo in draft.photos}
    return any(photo.id in held for photo in store.photos.find(client_id=draft.client_id))


def _what_was_typed(store: Store, draft: Draft) -> None:
    """The words of this window that the kept visit does not have, to be copied: fields are gone with the draft."""
    typed = found(_Typed, draft.id) or put(_Typed(_typed(draft.id)), draft.id)
    kept = store.visits.get(draft.visit.id) if draft.visit is not None and store.visits.has(draft.visit.id) else None
    there = _texts_of(kept) if kept is not None else set()
    lost = [(words, text) for words, text in typed.texts if text not in there]
    if not lost:
        return
    st.markdown("**This was typed here and is not saved. Copy what you need:**")
    for words, text in lost:
        st.caption(words)
        st.code(text, language=None, wrap_lines=True)


def _typed(draft_id: str) -> list[tuple[str, str]]:
    """What stands in the fields of text that this window showed last, each with what it is."""
    texts = []
    for key, text in sorted(st.session_state.items(), key=lambda item: str(item[0])):
        if not isinstance(text, str) or not text.strip():
            continue
        words = next((words for name, (words, _) in TEXTS.items() if str(key).startswith(f"{name}-{draft_id}")), "")
        if not words and str(key).startswith(f"steps-{draft_id}") and str(key).endswith(_STEP_TEXTS):
            words = "Step"
        if words:
            texts.append((words, text.strip()))
    return texts


def _texts_of(visit: Visit) -> set[str]:
    """Every text of a visit that was typed into such a field."""
    of_steps = (
        text
        for step in visit.steps
        for text in (step.zone, step.what, step.product, step.note, step.ratio, step.weave, step.sections)
    )
    return {*of_steps, *(getattr(visit, field) for _, field in TEXTS.values())}
