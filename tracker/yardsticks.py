"""The studio's own yardsticks: how far photos of one hair scatter, which lightness is which level, what is neutral.

Every version is kept with its date and with the readings that it was made of; the newest that was not undone is in
force. The photos behind it are not kept.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from tracker.level import DEFAULT_SCALE, LevelScale
from tracker.quantities import LabMeasured
from tracker.repeatability import PROVISIONAL, Repeatability
from tracker.setup_check import Shot
from tracker.warmth import DEFAULT_LOCUS, NeutralLocus

SPREAD, SCALE, LOCUS = "spread", "level scale", "neutral locus"
KINDS_OF_YARDSTICK = (SPREAD, SCALE, LOCUS)


@dataclass(frozen=True, slots=True)
class Swatch:
    """One swatch or lock that was photographed beside the card.

    Attributes
    ----------
    name : str, the studio's own words
    level : float or None, what its label says; None for natural hair, whose level does not matter
    lab : its colour, with the uncertainty of one photo or of the mean of several
    """

    name: str
    level: float | None
    lab: LabMeasured


@dataclass(frozen=True, slots=True)
class Yardstick:
    """One version of one yardstick; exactly one of the last three is there, as `kind` says.

    Attributes
    ----------
    kind : str, one of `KINDS_OF_YARDSTICK`
    made_at : datetime
    shots : readings of the photos behind a `SPREAD`
    swatches : readings behind a `SCALE` or a `LOCUS`
    undone_at : datetime or None, since when it is out of force
    """

    id: str
    kind: str
    made_at: datetime
    shots: tuple[Shot, ...] = ()
    swatches: tuple[Swatch, ...] = ()
    spread: Repeatability | None = None
    scale: LevelScale | None = None
    locus: NeutralLocus | None = None
    undone_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Yardsticks:
    """What is in force; the built-in ones until the studio has its own."""

    spread: Repeatability = PROVISIONAL
    scale: LevelScale = DEFAULT_SCALE
    locus: NeutralLocus = DEFAULT_LOCUS


def in_force(versions: Iterable[Yardstick]) -> Yardsticks:
    """The newest of each kind that was not undone.

    Parameters
    ----------
    versions : newest first; read no further than needed
    """
    found: dict[str, Yardstick] = {}
    for version in versions:
        if version.undone_at is None:
            found.setdefault(version.kind, version)
        if len(found) == len(KINDS_OF_YARDSTICK):
            break
    spread, scale, locus = (found.get(kind) for kind in KINDS_OF_YARDSTICK)
    return Yardsticks(
        (spread and spread.spread) or PROVISIONAL,
        (scale and scale.scale) or DEFAULT_SCALE,
        (locus and locus.locus) or DEFAULT_LOCUS,
    )
