"""Which card is in the photos, its grey's reflectance where that is better known, and whether it stood."""

from __future__ import annotations

import streamlit as st

from tracker.measure import CARD_KINDS


def choose_card(key: str, kind: str | None = None, reflectance: float | None = None) -> tuple[str, float | None]:
    """Ask for the kind of card and the reflectance of its grey.

    Parameters
    ----------
    key : str, the fields are called ``<key>-kind`` and ``<key>-reflectance``
    kind, reflectance : what is there at first; None for the plain card and its usual value

    Returns
    -------
    str, float or None : 0..1
    """
    kinds = list(CARD_KINDS)
    chosen = st.radio(
        "Kind of card",
        kinds,
        index=kinds.index(kind) if kind in kinds else 0,
        format_func=lambda name: CARD_KINDS[name].title,
        key=f"{key}-kind",
        horizontal=True,
    )
    with st.expander("My card’s grey is not 18 %"):
        percent = st.number_input(
            "Reflectance of the grey in per cent, as printed on the card or its sheet",
            min_value=2.0,
            max_value=98.0,
            value=reflectance * 100 if reflectance else None,
            step=0.5,
            placeholder="leave empty for the usual value",
            key=f"{key}-reflectance",
        )
    return chosen, percent / 100 if percent else None


def choose_card_stood(key: str, stood: bool | None, label: str = "Card in the photos") -> bool | None:
    """Ask whether the card was held or stood on its own, which says how far its light is that of the hair.

    Parameters
    ----------
    key : str, of the field
    stood : bool or None, what is there at first

    Returns
    -------
    bool or None : True where it stood; None where nothing is chosen
    """
    return st.pills(
        label,
        (False, True),
        default=stood,
        format_func={False: "Held in the hand", True: "Stood by itself"}.__getitem__,
        key=key,
    )
