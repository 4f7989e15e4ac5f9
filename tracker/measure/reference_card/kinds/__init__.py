"""The kinds of reference card, one file each. A new kind is a new file and an entry in `KINDS`."""

from __future__ import annotations

from collections.abc import Mapping

from tracker.errors import InvalidMarks
from tracker.measure.camera_error import CameraError
from tracker.measure.reading import CardSummary
from tracker.measure.reference_card.kind import CardKind
from tracker.measure.reference_card.kinds.chart24 import CHART24
from tracker.measure.reference_card.kinds.grey18 import GREY18
from tracker.measure.reference_card.kinds.markers4 import MARKERS4
from tracker.measure.reference_card.kinds.steps2 import STEPS2
from tracker.measure.reference_card.kinds.steps3 import STEPS3

KINDS = (GREY18, STEPS2, STEPS3, MARKERS4, CHART24)
"""In the order offered; the first is the default."""

CARD_KINDS: Mapping[str, CardKind] = {kind.name: kind for kind in KINDS}


def card_kind(name: str) -> CardKind:
    """The kind of card of that name.

    Parameters
    ----------
    name : str, a key of `CARD_KINDS`

    Raises
    ------
    InvalidMarks : for an unknown name
    """
    try:
        return CARD_KINDS[name]
    except KeyError:
        raise InvalidMarks(f"There is no card kind called {name!r}.", f"Use one of {', '.join(CARD_KINDS)}.") from None


def kind_or_plain(name: str) -> CardKind:
    """The kind called `name`; the plain card, which leaves most undone, for a record of an unknown kind."""
    return CARD_KINDS.get(name, GREY18)


def camera_error(card: CardSummary, light: str | None) -> CameraError:
    """What a card leaves of the camera's error under a light.

    Parameters
    ----------
    card : CardSummary, of a photo; one of an unknown kind counts as a plain card
    light : str or None, one of `reading.LIGHTS`; the worst case where unknown
    """
    return kind_or_plain(card.kind).leaves(card).under(light, card.reflectance)


def is_searched(name: str) -> bool:
    """True where the program can find the kind of card called `name` by itself."""
    return name in CARD_KINDS and CARD_KINDS[name].search is not None
