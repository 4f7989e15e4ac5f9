"""The studio's own cards: their size, which gives lengths in its photos, and what their dark half reflects."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from tracker.calibrate.learnt_dark import CardSeen, LearntDark, learn_dark
from tracker.errors import InvalidEntry, InvalidMarks
from tracker.measure import CARD_KINDS, CardKind
from tracker.measure.card_scale import require_size
from tracker.measure.dark_half import require_dark, u_of_contrast
from tracker.measure.reading import DarkHalf, Marks
from tracker.record.records import ROLES, from_json, now, to_json
from tracker.store import CardUse, Store

_SIZE = "card_size_mm"
_DARK = "card_dark"
_LOOKED_AT = 300  # latest photos of each role: enough for years of one card, and quick


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


@dataclass(frozen=True, slots=True)
class OwnDark:
    """What the studio keeps of the dark half of its card of a kind.

    Attributes
    ----------
    known : DarkHalf or None, its reflectance; None for the nominal value
    photos : int, that told it; 0 where a person gave it, or nobody knows it
    noted_at : datetime or None, when it was given or learnt
    since : datetime or None, when this card took the place of another one of its kind
    earlier : DarkHalf or None, what was known of that other one; None for its nominal value
    """

    known: DarkHalf | None = None
    photos: int = 0
    noted_at: datetime | None = None
    since: datetime | None = None
    earlier: DarkHalf | None = None


def own_dark(store: Store, card_kind: str) -> OwnDark:
    """What the studio keeps of the dark half of its card of that kind; nothing where it cannot be read."""
    kept = _noted(store, _DARK).get(card_kind)
    try:
        found = OwnDark() if kept is None else from_json(OwnDark, json.dumps(kept))
        if found.known is not None:
            require_dark(found.known.reflectance, CARD_KINDS[card_kind].reflectance)
    except (ValueError, KeyError, InvalidMarks):
        return OwnDark()
    return found


def dark_half(store: Store, card_kind: str) -> DarkHalf | None:
    """What the dark half of the studio's card of that kind reflects; None for the nominal value."""
    return own_dark(store, card_kind).known


def note_dark_half(store: Store, card_kind: str, known: DarkHalf | None, photos: int = 0) -> None:
    """Keep what the dark half of a card reflects, for the photos from now on; None goes back to the nominal value.

    Parameters
    ----------
    known : DarkHalf or None
    photos : int, that told it; 0 where a person gave it

    Raises
    ------
    InvalidEntry : cards of that kind have no dark half
    InvalidMarks : no dark half reflects so much
    """
    if known is not None:
        require_dark(known.reflectance, _with_dark(card_kind).reflectance)
    told, when = (photos, now()) if known is not None else (0, None)
    _keep(store, card_kind, replace(own_dark(store, card_kind), known=known, photos=told, noted_at=when))


def note_new_card(store: Store, card_kind: str) -> None:
    """Note that another card of this kind is used from now on: what was known of the dark half holds for it no more.

    Raises
    ------
    InvalidEntry : cards of that kind have no dark half
    """
    _with_dark(card_kind)
    _keep(store, card_kind, OwnDark(since=now(), earlier=own_dark(store, card_kind).known))


def learnt_dark(store: Store, card_kind: str) -> LearntDark | None:
    """What the studio's photos tell of the dark half of its card; None where that is too little to be of use.

    Parameters
    ----------
    card_kind : str, name of a kind with a dark half
    """
    kind, own = CARD_KINDS[card_kind], own_dark(store, card_kind)
    if kind.nominal_dark is None or kind.spare is not None:
        return None  # with a third step the exponent is not that of grey and dark alone
    used = [use for role in ROLES for use in store.photos.cards(card_kind, role, _LOOKED_AT)]
    begin = own.since or datetime.min.replace(tzinfo=UTC)
    later = [_seen(use) for use in used if use.taken_at >= begin]
    before = [_seen(use) for use in used if use.taken_at < begin]
    prior = u_of_contrast(kind.reflectance, kind.nominal_dark, kind.undone.contrast)
    learnt = learn_dark(later, kind.nominal_dark, before, own.earlier, prior)
    return learnt if learnt is not None and learnt.is_worth_using else None


def _seen(use: CardUse) -> CardSeen:
    return CardSeen(use.camera, use.occasion, use.exponent, use.grey, use.dark)


def _with_dark(card_kind: str) -> CardKind:
    kind = CARD_KINDS[card_kind]
    if kind.dark is None:
        raise InvalidEntry("A card of this kind has no dark half.", "Choose another kind of card.")
    return kind


def _keep(store: Store, card_kind: str, own: OwnDark) -> None:
    kept = {kind: dark for kind, dark in _noted(store, _DARK).items() if kind != card_kind}
    if own != OwnDark():
        kept[card_kind] = json.loads(to_json(own))
    store.settings.put(_DARK, kept or None)


def _noted(store: Store, setting: str) -> dict[str, Any]:
    found = store.settings.get(setting)
    return found if isinstance(found, dict) else {}
