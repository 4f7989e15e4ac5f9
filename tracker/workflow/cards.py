"""The studio's own cards: their size, which gives lengths in its photos, and what their dark half reflects."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tracker.errors import InvalidEntry, InvalidMarks
from tracker.measure import CARD_KINDS
from tracker.measure.card_scale import require_size
from tracker.measure.dark_half import require_dark
from tracker.measure.reading import DarkHalf, Marks
from tracker.store import Store

_SIZE = "card_size_mm"
_DARK = "card_dark"


@dataclass(frozen=True, slots=True)
class ChosenCard:
    """The card in a photo, as a person chose it.

    Attributes
    ----------
    kind : str, name of a kind of card
    reflectance : float or None, of its grey where that is better known
    dark : DarkHalf or None, what is known of its dark half; None for the nominal value
    """

    kind: str
    reflectance: float | None = None
    dark: DarkHalf | None = None

    @classmethod
    def of(cls, marks: Marks) -> ChosenCard:
        """The card in marked photos."""
        return cls(marks.card_kind, marks.reflectance, marks.dark_half)


def card_size(store: Store, card_kind: str) -> tuple[float, float] | None:
    """Width and height of the studio's card of that kind in millimetres; None where nobody noted them."""
    found = _noted(store, _SIZE).get(card_kind)
    try:
        width, height = (float(side) for side in found)  # type: ignore[union-attr]
    except (TypeError, ValueError):
        return None
    return width, height


def note_card_size(store: Store, card_kind: str, size_mm: tuple[float, float] | None) -> None:
    """Keep the size of a card for the photos from now on; None forgets it.

    Raises
    ------
    InvalidEntry : no card is that size
    """
    sizes = {kind: size for kind, size in _noted(store, _SIZE).items() if kind != card_kind}
    if size_mm is not None:
        require_size(size_mm)
        sizes[card_kind] = [float(side) for side in size_mm]
    store.settings.put(_SIZE, sizes or None)


def dark_half(store: Store, card_kind: str) -> DarkHalf | None:
    """What the dark half of the studio's card of that kind reflects; None for the nominal value."""
    found = _noted(store, _DARK).get(card_kind)
    try:
        u = found["u"]  # type: ignore[index]
        known = DarkHalf(float(found["dark"]), None if u is None else float(u))  # type: ignore[index]
        require_dark(known.reflectance, CARD_KINDS[card_kind].reflectance)
    except (TypeError, ValueError, KeyError, InvalidMarks):
        return None
    return known


def note_dark_half(store: Store, card_kind: str, known: DarkHalf | None) -> None:
    """Keep what the dark half of a card reflects, for the photos from now on; None forgets it.

    Raises
    ------
    InvalidEntry : cards of that kind have no dark half
    InvalidMarks : no dark half reflects so much
    """
    kept = {kind: dark for kind, dark in _noted(store, _DARK).items() if kind != card_kind}
    if known is not None:
        kind = CARD_KINDS[card_kind]
        if kind.dark is None:
            raise InvalidEntry("A card of this kind has no dark half.", "Choose another kind of card.")
        require_dark(known.reflectance, kind.reflectance)
        kept[card_kind] = {"dark": known.reflectance, "u": known.u}
    store.settings.put(_DARK, kept or None)


def _noted(store: Store, setting: str) -> dict[str, Any]:
    found = store.settings.get(setting)
    return found if isinstance(found, dict) else {}
