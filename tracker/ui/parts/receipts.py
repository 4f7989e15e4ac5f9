"""What was erased: counts and times, never whose."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from tracker.store import Counts, Erasure, Store
from tracker.ui.parts.offer import offer_file
from tracker.words import count, day, listed


def receipts(store: Store) -> None:
    """All receipts so far, with a way to save them; nothing where nobody was erased."""
    erased = store.erasures.receipts()
    if not erased:
        return
    with st.expander(f"Erased so far ({len(erased)})"):
        st.markdown("\n".join(f"- {line}" for line in _lines(erased)))
        offer_file("Save the receipts", lambda: _file(store), "receipts.txt", "text/plain", key="receipts")


def _lines(erased: Sequence[Erasure]) -> list[str]:
    return [receipt_words(erasure) for erasure in reversed(erased)]


def _file(store: Store) -> bytes:
    return ("\n".join(_lines(store.erasures.receipts())) + "\n").encode()


def receipt_words(erasure: Erasure) -> str:
    """What was erased, as a sentence."""
    moment = erasure.erased_at.astimezone()
    what = counts_words(erasure.counts) if erasure.counts is not None else "the client and everything about the client"
    return f"Erased on {day(moment.date())} at {moment:%H:%M}: {what}. Receipt {erasure.client_id[:8]}."


def counts_words(counts: Counts) -> str:
    """The client and how much of each kind."""
    parts = [
        "the client",
        count(counts.consents, "answer") + " about agreement",
        count(counts.visits, "visit"),
        count(counts.photos, "photo"),
        count(counts.files, "picture file"),
    ]
    if counts.drafts:
        parts.append(count(counts.drafts, "unfinished draft"))
    if counts.edits:
        parts.append(count(counts.edits, "earlier state") + " of records")
    if counts.set_aside:
        parts.append(count(counts.set_aside, "picture") + " that lay set aside")
    if counts.exports:
        parts.append(count(counts.exports, "export") + " of everything")
    return listed(parts)
