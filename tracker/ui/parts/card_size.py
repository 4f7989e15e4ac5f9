"""The size of the studio's cards, entered once: it turns pixels into centimetres."""

from __future__ import annotations

import streamlit as st

from tracker import workflow
from tracker.measure import CARD_KINDS
from tracker.measure.card_scale import LARGEST_MM, SMALLEST_MM
from tracker.store import Store
from tracker.ui.parts.notices import say_on_next_page, told
from tracker.ui.parts.own_dark import own_darks


def card_sizes(store: Store) -> None:
    """Width and height of each kind of card, with a way to note them."""
    st.markdown(
        "Note the size of your card, and the photos from then on also say where the lightening starts and how softly "
        "it blends, in centimetres."
    )
    for name, kind in CARD_KINDS.items():
        if kind.size_in is not None:
            continue  # it shows its size by itself
        size = workflow.card_size(store, name)
        noted = f"{size[0]:g} × {size[1]:g} mm" if size is not None else "size not noted"
        with st.expander(f"{kind.title}: {noted}"):
            _fields(store, name, size)
    own_darks(store)


def _fields(store: Store, name: str, size: tuple[float, float] | None) -> None:
    st.caption(CARD_KINDS[name].size_of)
    width, height = (
        place.number_input(
            f"{side.capitalize()}, mm",
            SMALLEST_MM,
            LARGEST_MM,
            value=noted,
            step=1.0,
            format="%.1f",
            key=f"card-{side}-{name}",
        )
        for place, side, noted in zip(st.columns(2), ("width", "height"), size or (None, None), strict=True)
    )
    with st.container(horizontal=True):
        if st.button("Keep this size", key=f"card-keep-{name}", disabled=width is None or height is None):
            _keep(store, name, (float(width or 0), float(height or 0)))
        if size is not None and st.button("Forget it", key=f"card-forget-{name}"):
            _keep(store, name, None)


def _keep(store: Store, name: str, size: tuple[float, float] | None) -> None:
    with told():
        workflow.note_card_size(store, name, size)
        say_on_next_page("The size of the card is kept." if size else "The size of the card is forgotten.")
        st.rerun()
