"""A draft that is not there any more: whether it was saved, where it is, and what was typed here meanwhile."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from tracker.errors import NotFound
from tracker.records import PROGRESS, Draft
from tracker.ui.look import failure
from tracker.ui.navigation import link
from tracker.ui.parts.words import plain

if TYPE_CHECKING:
    from tracker.store import Store

_TEXTS = {
    "visit-history": ("Hair history", "history"),
    "visit-start": ("Starting point", "starting_point"),
    "visit-note": ("Note", "note"),
    "visit-next": ("Next time", "next_time"),
}
"""Fields of the last step, by the beginning of their key: the words for each and where a visit keeps it."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """A draft as this window showed it last.

    Attributes
    ----------
    changing : bool, True where it changes a visit that was saved before
    """

    draft: Draft
    changing: bool


def remember(draft: Draft, *, changing: bool) -> None:
    """Note which draft this window shows, to be able to say later what became of it."""
    st.session_state[_seen_key(draft.id)] = _Seen(draft, changing)


def say_what_became_of_it(store: Store, draft_id: str) -> None:
    """The page in place of a draft that is gone."""
    st.title("New visit", anchor=False)
    seen: _Seen | None = st.session_state.get(_seen_key(draft_id))
    if seen is None:
        failure("There is no such draft any more.", "It was saved or thrown away, perhaps in another window.")
        link("clients", "Clients")
        return
    try:
        client = store.client(seen.draft.client_id)
    except NotFound:
        failure("This client is not here any more.", "The draft went with the client’s record.")
        return
    what = "progress photo" if seen.draft.kind == PROGRESS else "visit"
    if _was_saved(store, seen):
        failure(f"This {what} is saved already, perhaps from another window.", "It was not saved a second time.")
    elif seen.changing:
        failure("These changes were thrown away, perhaps in another window.", "The visit stays as it was saved before.")
    else:
        failure(f"This {what} was thrown away before it was saved, perhaps in another window.")
    link("client", f"All visits of {plain(client.name)}", client=client.id)
    _what_was_typed(store, seen.draft)


def _was_saved(store: Store, seen: _Seen) -> bool:
    draft = seen.draft
    if draft.visit is not None and store.has_visit(draft.visit.id):
        # what is being changed was there before: only a later revision shows that the change was saved
        return not seen.changing or store.visit(draft.visit.id).revision > draft.visit.revision
    held = {photo.id for photo in draft.photos}
    return any(photo.id in held for photo in store.photos(client_id=draft.client_id))


def _what_was_typed(store: Store, draft: Draft) -> None:
    """The words of this window that the kept visit does not have, to be copied: fields are gone with the draft."""
    key = f"typed-{draft.id}"
    if key not in st.session_state:
        st.session_state[key] = {
            name: text.strip() for name in _TEXTS if (text := st.session_state.get(f"{name}-{draft.id}") or "").strip()
        }
    kept = store.visit(draft.visit.id) if draft.visit is not None and store.has_visit(draft.visit.id) else None
    lost = {
        words: st.session_state[key][name]
        for name, (words, field) in _TEXTS.items()
        if name in st.session_state[key] and st.session_state[key][name] != getattr(kept, field, None)
    }
    if not lost:
        return
    st.markdown("**This was typed here and is not saved. Copy what you need:**")
    for words, text in lost.items():
        st.caption(words)
        st.code(text, language=None, wrap_lines=True)


def _seen_key(draft_id: str) -> str:
    return f"draft-seen-{draft_id}"
