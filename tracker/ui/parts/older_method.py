"""Photos that an earlier version of the method measured: what that means, and measuring them again."""

from __future__ import annotations

import streamlit as st

from tracker import METHOD_VERSION, workflow
from tracker.store import Store
from tracker.ui.parts.consent_view import remembered_recorder
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.words import plain
from tracker.words import count


def measure_again(store: Store, client_id: str) -> None:
    """Offer to measure a client's older photos again; nothing where all are measured by the method in force."""
    older = store.photos.measured_otherwise(client_id, METHOD_VERSION)
    if not older:
        return
    number = len(older)
    were = f"{count(number, 'photo')} of this client {'was' if number == 1 else 'were'}"
    st.info(
        plain(
            f"{were} measured by an earlier version of the method (now {METHOD_VERSION}). Between versions no error "
            "cancels out, so such photos are compared with a larger ±. Measured again with the marks they have, they "
            "all match; the earlier readings stay in the log."
        )
    )
    if st.button("Measure again", key="measure-again"):
        with told():
            progress = st.progress(0.0, "Measuring")
            for done, photo_id in enumerate(older, start=1):
                workflow.remeasure(store, photo_id, by=remembered_recorder())
                progress.progress(done / number, f"Measuring, {done} of {number}")
            say_on_next_page(f"{count(number, 'photo')} measured again.")
            st.rerun()
