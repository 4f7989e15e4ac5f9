"""The last deletion, with the button that takes it back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import streamlit as st

from tracker.record.records import now
from tracker.store import Deletion, Store
from tracker.ui.parts.held import ANYBODY, drop, held, put
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.words import plain
from tracker.ui.session import open_store

UNDO_WORDS = "It can be taken back until the program ends: at the top of the page, and later under My data."
_SHOWN_FOR = timedelta(minutes=3)


@dataclass
class _Last:
    """The last deletion of this window, and what was deleted."""

    deletion: Deletion | None = None
    sentence: str = ""


def remember_deletion(deletion: Deletion | None, sentence: str) -> None:
    """Offer to take a deletion back on the pages that follow; `sentence` says what was deleted."""
    if deletion is not None:
        put(_Last(deletion, sentence), ANYBODY)


def offer_undo(*, always: bool = False) -> bool:
    """The last deletion of this session while it is fresh and still held; True if there is one.

    Parameters
    ----------
    always : bool, also when it is no longer fresh
    """
    last = held(_Last, ANYBODY)
    deletion = last.deletion
    if deletion is None or not (always or now() - deletion.at < _SHOWN_FOR):
        return False
    store = open_store()
    if not store.deletions.can_put_back(deletion.token):
        drop(_Last, ANYBODY)
        return False
    with st.container(key="undo-line", horizontal=True, vertical_alignment="center"):
        st.markdown(plain(last.sentence))
        if st.button("Undo", key="undo"):
            with told():
                _take_back(store, deletion)
    return True


def _take_back(store: Store, deletion: Deletion) -> None:
    store.deletions.put_back(deletion.token)
    drop(_Last, ANYBODY)
    say_on_next_page("It is back, as it was.")
    st.rerun()
