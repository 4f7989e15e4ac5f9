"""The studio's own yardsticks: how far photos of the same hair scatter, the lightness of each level, what is neutral.

Every version is kept with its date and the readings it was made from; the newest that was not undone is in force. The
photos behind it are not kept.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from tracker.calibrate.gauge_study import Shot
from tracker.calibrate.level import DEFAULT_SCALE, LevelReading, LevelScale, estimate_level
from tracker.calibrate.warmth import DEFAULT_LOCUS, NeutralLocus
from tracker.maths.quantities import LabMeasured, matrix3
from tracker.measure.kit import Kit, share_error
from tracker.measure.reading import RegionReading
from tracker.measure.repeatability import PROVISIONAL, Repeatability

SPREAD, SCALE, LOCUS = "spread", "level scale", "neutral locus"
KINDS_OF_YARDSTICK = (SPREAD, SCALE, LOCUS)


@dataclass(frozen=True, slots=True)
class Swatch:
    """One swatch or lock, photographed beside the card.

    Its hair is of one colour, so it reads the same within its ± along a ribbon and over the whole (on drawn hair within
    0.9 L*), and one measured by an earlier version of the method still counts.

    Attributes
    ----------
    name : str, the studio's own words
    level : float or None, what its label says; None for natural hair, whose level does not matter
    lab : its colour, with the part of its uncertainty that differs between photos of one kit
    kit : Kit or None, what it was photographed with, where known
    """

    name: str
    level: float | None
    lab: LabMeasured
    kit: Kit | None = None


@dataclass(frozen=True, slots=True)
class Yardstick:
    """One version of one yardstick; exactly one of the last three is there, as `kind` says.

    Attributes
    ----------
    kind : str, one of `KINDS_OF_YARDSTICK`
    made_at : datetime
    shots : readings of the photos behind a `SPREAD`, all of hair read in the same way
    swatches : readings behind a `SCALE` or a `LOCUS`
    undone_at : datetime or None, when it was undone
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
    """The yardsticks in force, built-in until the studio has its own. `kits` took the swatches behind `scale`."""

    spread: Repeatability = PROVISIONAL
    scale: LevelScale = DEFAULT_SCALE
    locus: NeutralLocus = DEFAULT_LOCUS
    kits: tuple[Kit | None, ...] = ()


def in_force(versions: Iterable[Yardstick]) -> Yardsticks:
    """The newest of each kind that was not undone, of the `versions`, newest first; read no further than needed."""
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
        tuple(swatch.kit for swatch in scale.swatches) if scale else (),
    )


def level_of(region: RegionReading, kit: Kit, own: Yardsticks) -> LevelReading:
    """Level of a band on the scale in force.

    Parameters
    ----------
    region : RegionReading, the band
    kit : what its photo was taken with
    own : Yardsticks, the studio's, in force

    Notes
    -----
    The error that all photos of one kit share is in the studio's swatches as it is in the hair. Within the range of the
    swatches it cancels for the kit that took them; with another kit, the error of the swatches is added and assumed
    to be as large. Outside that range the scale is published hair, and the photo's own shared error counts in full.
    """
    alike = all(each is not None and share_error(each, kit) for each in own.kits)
    beyond = own.scale.beyond(region.lab.lab[0])
    repeat, whole = np.asarray(region.repeat_cov), np.asarray(region.lab.cov)
    cov = repeat + (beyond if alike else 2 - beyond) * (whole - repeat)
    return estimate_level(LabMeasured(region.lab.lab, matrix3(cov), region.lab.dof), own.scale)
