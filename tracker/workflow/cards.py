"""The size of the studio's own cards, which gives lengths in its photos."""

from __future__ import annotations

from typing import Any

from tracker.measure.card_scale import require_size
from tracker.store import Store

_SETTING = "card_size_mm"


def card_size(store: Store, card_kind: str) -> tuple[float, float] | None:
    """Width and height of the studio's card of that kind in millimetres; None where nobody noted them."""
    found = _noted(store).get(card_kind)
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
    sizes = {kind: size for kind, size in _noted(store).items() if kind != card_kind}
    if size_mm is not None:
        require_size(size_mm)
        sizes[card_kind] = [float(side) for side in size_mm]
    store.settings.put(_SETTING, sizes or None)


def _noted(store: Store) -> dict[str, Any]:
    found = store.settings.get(_SETTING)
    return found if isinstance(found, dict) else {}
