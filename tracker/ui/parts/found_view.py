"""Visits in which something was found, and where."""

from __future__ import annotations

from datetime import date

import streamlit as st

from tracker.store import Found, Store
from tracker.ui.parts.pictures import SMALL
from tracker.ui.parts.rows import row
from tracker.ui.parts.visit_line import visit_words
from tracker.ui.parts.words import plain
from tracker.words import count, sentence_case

SHOWN = 20
_PLACES = 3  # places named for each visit; more would say the same


def found_visits(store: Store, search: str) -> int:
    """Visits that hold every word, newest first; returns how many there are."""
    found, total = store.visits.find(search, SHOWN)
    if not total:
        return 0
    st.header("In visits", anchor=False)
    st.caption(count(total, "visit") + (f", the newest {SHOWN} shown" if total > SHOWN else ""))
    for each in found:
        picture = None
        if each.photo_id is not None:
            picture = (f"/picture/{each.photo_id}/{SMALL}.jpg", "Photo of the hair at this visit")
        about = "  \n".join([visit_words(each.visit, date.today()), *_places(each)])
        row(picture, each.visit.id, "compare", each.client.name, about, visit=each.visit.id)
    return total


def _places(found: Found) -> list[str]:
    return [f"{sentence_case(name)}: {plain(text)}" for name, text in found.where[:_PLACES]]
