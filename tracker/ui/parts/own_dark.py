"""What the dark half of the studio's own card reflects: as is usual, as given, or as its photos tell."""

from __future__ import annotations

import streamlit as st

from tracker import workflow
from tracker.measure import CARD_KINDS, CardKind
from tracker.measure.reading import DarkHalf
from tracker.said.card import say_dark, say_learnt
from tracker.store import Store
from tracker.ui.parts.card_choice import ask_dark
from tracker.ui.parts.notices import say_on_next_page, told

_FROM_NOW = (
    "It holds for the photos from then on. They count as taken with another card than those before, so a change "
    "between the two is less sure."
)
_NEW = "Photos with the new card are then set against those with this one, to see what its dark part reflects."


def own_darks(store: Store) -> None:
    """What the dark half of each kind of card counts as, with the ways to change it."""
    st.markdown(
        "A card with a dark part also shows the contrast that the phone puts on a photo. Note what that part of yours "
        "reflects, and the photos from then on are measured with it."
    )
    for name, kind in CARD_KINDS.items():
        if kind.nominal_dark is None:
            continue
        known = workflow.dark_half(store, name)
        share = 100 * (kind.nominal_dark if known is None else known.reflectance)
        with st.expander(f"{kind.title}: {kind.dark_name} {share:.2g} %"):
            _own_dark(store, name, kind, kind.nominal_dark)


def _own_dark(store: Store, name: str, kind: CardKind, nominal: float) -> None:
    own = workflow.own_dark(store, name)
    st.markdown(say_dark(kind.dark_name, own.known, nominal, own.photos, own.noted_at))
    _offer(store, name, own.known)
    percent = ask_dark(f"dark-own-{name}", kind, own.known)
    with st.container(horizontal=True):
        if st.button("Keep this value", key=f"dark-keep-{name}", disabled=percent is None):
            _keep(store, name, DarkHalf(round((percent or 0) / 100, 6)))
        if own.known is not None and st.button(f"Back to {100 * nominal:.2g} %", key=f"dark-forget-{name}"):
            _keep(store, name, None)
        if st.button("I have another card now", key=f"dark-new-{name}", help=_NEW):
            with told():
                workflow.note_new_card(store, name)
                say_on_next_page(f"Noted. Its {kind.dark_name} counts as usual until you or its photos say more.")
                st.rerun()


def _offer(store: Store, name: str, known: DarkHalf | None) -> None:
    """What photos tell of it, with the button that uses it: never without a person’s word."""
    learnt = workflow.learnt_dark(store, name)
    if learnt is None or (known is not None and abs(known.reflectance - learnt.known.reflectance) < 0.0005):
        return
    with st.container(border=True):
        st.markdown(f"{say_learnt(CARD_KINDS[name].dark_name, learnt)} Use that?")
        st.caption(_FROM_NOW)
        if st.button(f"Use {100 * learnt.known.reflectance:.1f} %", key=f"dark-use-{name}"):
            _keep(store, name, learnt.known, learnt.photos)


def _keep(store: Store, name: str, known: DarkHalf | None, photos: int = 0) -> None:
    with told():
        workflow.note_dark_half(store, name, known, photos)
        part = CARD_KINDS[name].dark_name
        say_on_next_page(f"What the {part} reflects is kept." if known else f"The {part} counts as usual again.")
        st.rerun()
