"""Which card is in the photos, what it reflects where that is better known, and whether it stood."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from tracker.errors import InvalidMarks
from tracker.measure import CARD_KINDS, CardKind
from tracker.measure.dark_half import LEAST, MOST, require_dark
from tracker.measure.reading import DarkHalf
from tracker.ui.parts.notices import sorry
from tracker.workflow import ChosenCard

DARK_SAID = (
    "Any value serves to compare photos, as long as it is the same for all of them; a right one makes single levels "
    "surer."
)


def choose_card(key: str, own: Callable[[str], DarkHalf | None], known: ChosenCard | None = None) -> ChosenCard:
    """Ask for the kind of card, the reflectance of its grey, and that of its dark half where it has one.

    Parameters
    ----------
    key : str, the fields are called ``<key>-kind``, ``<key>-reflectance`` and ``<key>-dark``
    own : gives what is known of the dark half of a kind of card where its field is left empty
    known : ChosenCard or None, what is there at first; None for the plain card and its usual value
    """
    kinds = list(CARD_KINDS)
    chosen = st.radio(
        "Kind of card",
        kinds,
        index=kinds.index(known.kind) if known is not None and known.kind in kinds else 0,
        format_func=lambda name: CARD_KINDS[name].title,
        key=f"{key}-kind",
        horizontal=True,
    )
    kind, reflectance = CARD_KINDS[chosen], known.reflectance if known is not None else None
    with st.expander("My card’s grey is not 18 %" if kind.dark is None else "What my card reflects"):
        percent = st.number_input(
            "Reflectance of the grey in per cent, as printed on the card or its sheet",
            min_value=2.0,
            max_value=98.0,
            value=reflectance * 100 if reflectance else None,
            step=0.5,
            placeholder="leave empty for the usual value",
            key=f"{key}-reflectance",
        )
        grey = percent / 100 if percent else None
        dark = own(chosen)
        if kind.dark is not None:
            typed = known.dark if known is not None and known.kind == chosen else None
            dark = _dark(f"{key}-dark", kind, grey, dark, None if typed == dark else typed)
    return ChosenCard(chosen, grey, dark)


def _dark(
    key: str, kind: CardKind, grey: float | None, own: DarkHalf | None, typed: DarkHalf | None
) -> DarkHalf | None:
    """What the field says of the dark half; what is known of it otherwise where the field is empty or impossible."""
    percent = ask_dark(key, kind, own, typed.reflectance if typed is not None else None)
    if percent is None:
        return own
    dark = round(percent / 100, 6)
    try:
        require_dark(dark, kind.reflectance if grey is None else grey)
    except InvalidMarks as error:
        sorry(error)
        return own
    return DarkHalf(dark)


def ask_dark(key: str, kind: CardKind, own: DarkHalf | None, value: float | None = None) -> float | None:
    """The field for the reflectance of a card's dark half, per cent; None where it is empty.

    Parameters
    ----------
    key : str, of the field
    own : DarkHalf or None, what counts where it is empty; None for the nominal value
    value : float or None, what is there at first, 0..1
    """
    usual = kind.nominal_dark if own is None else own.reflectance
    percent = st.number_input(
        f"Reflectance of the {kind.dark_name} in per cent, where you know it",
        min_value=100 * LEAST,
        max_value=100 * MOST,
        value=None if value is None else round(100 * value, 4),
        step=0.1,
        format="%.1f",
        placeholder=f"leave empty for {100 * (usual or 0):.2g} %",
        key=key,
    )
    st.caption(DARK_SAID)
    return percent


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
