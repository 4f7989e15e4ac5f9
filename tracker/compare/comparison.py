"""Before against after, region by region: lift, warmth and verdict.

Differences with the same camera, card and light are far more certain than absolute values, because the error of the
camera's rendering cancels. Different kits are compared with the larger uncertainty that they deserve.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.calibrate.level import DEFAULT_SCALE, LevelScale, Lift, estimate_lift
from tracker.calibrate.warmth import DEFAULT_LOCUS, NeutralLocus, warmth_change
from tracker.compare.change import CHANGED, Change, Scatter, compare
from tracker.compare.replicates import occasion_cov
from tracker.errors import CannotCompare
from tracker.maths.quantities import LabMeasured, Measured, matrix3
from tracker.measure.camera_error import CameraError, between
from tracker.measure.reading import REGIONS, PhotoReading, RegionReading
from tracker.measure.reference_card import camera_error
from tracker.measure.repeatability import PROVISIONAL, Repeatability

Colours = tuple[LabMeasured, LabMeasured]
Remedy = Literal["more photos", "photos anew", "set-up check", "one kit", "nothing"]


@dataclass(frozen=True, slots=True)
class RegionChange:
    """One region before and after.

    Attributes
    ----------
    name : str, one of `REGIONS`
    lift : change in level
    warmth : change in warmth, CIELAB units, positive = warmer
    change : the test, the size and the verdict
    photos : int and int, how many show the hair before and after
    remedy : what would settle a change that is too close to call
    """

    name: str
    lift: Lift
    warmth: Measured
    change: Change
    photos: tuple[int, int]
    remedy: Remedy

    @property
    def verdict(self) -> str:
        """``changed``, ``no meaningful change`` or ``cannot tell yet``."""
        return self.change.verdict


def says_most(changes: Sequence[RegionChange]) -> RegionChange | None:
    """The band with the largest lift among those of `changes` that are real, else the first; None if there is none."""
    real = [change for change in changes if change.verdict == CHANGED]
    if real:
        return max(real, key=lambda change: abs(change.lift.value.value) if change.lift.value else 0.0)
    return changes[0] if changes else None


def compare_readings(
    before: PhotoReading,
    after: PhotoReading,
    *,
    same_kit: bool,
    light: str | None = None,
    scale: LevelScale = DEFAULT_SCALE,
    locus: NeutralLocus = DEFAULT_LOCUS,
    repeatability: Repeatability = PROVISIONAL,
    rng: np.random.Generator | None = None,
) -> tuple[RegionChange, ...]:
    """Every region that both readings have.

    Parameters
    ----------
    before, after : PhotoReading, of the same hair
    same_kit : bool, from `kit.match_kits`
    light : str or None, of both photos, from `kit.match_kits`
    scale, locus, repeatability : those in force
    rng : random numbers for the interval of ΔE00; by default from a fixed seed, so that results repeat

    Raises
    ------
    CannotCompare : they share no region, or one read a ribbon and the other the whole hair
    """
    if before.hair != after.hair:
        raise CannotCompare(
            "One photo was measured along a ribbon, the other over the whole hair, and the two do not compare.",
            "Measure both over the whole hair.",
        )
    rng = rng or np.random.default_rng(20_000)
    known = repeatability.over(before.hair)
    found = []
    for name in REGIONS:
        first, second = before.region(name), after.region(name)
        left = pair_colours(before, after, name, same_kit=same_kit, light=light)
        if first is not None and second is not None and left is not None:
            found.append(_region_change(name, first, second, left, same_kit, scale, locus, known, rng))
    if not found:
        raise CannotCompare(
            "One of the two photos has no number, so there is nothing to compare.",
            "Look at its checks and take it again.",
        )
    return tuple(found)


def pair_colours(
    before: PhotoReading, after: PhotoReading, name: str, *, same_kit: bool, light: str | None
) -> Colours | None:
    """The two colours of a band, each with the part of its uncertainty that stays in their difference.

    None where either reading lacks the band.

    Parameters
    ----------
    before, after : PhotoReading
    name : str, the band: ``root``, ``mid`` or ``end``
    same_kit : bool, True where camera, card and light are the same, so that their errors cancel
    light : str or None, one of `reading.LIGHTS`
    """
    first, second = before.region(name), after.region(name)
    if first is None or second is None:
        return None
    size = camera_error(before.card, light)
    return _remaining(first, second, size) if same_kit else _unlike(first, second, size)


def _region_change(
    name: str,
    before: RegionReading,
    after: RegionReading,
    left: Colours,
    same_kit: bool,
    scale: LevelScale,
    locus: NeutralLocus,
    repeatability: Repeatability,
    rng: np.random.Generator,
) -> RegionChange:
    first, second = left
    lift = estimate_lift(first.lab[0], second.lab[0], first.u[0], second.u[0], scale, min(first.dof, second.dof))
    warmth = warmth_change(first, second, locus)
    # the difference between two kits does not average out over more photos
    scatter = _scatter(before, after, repeatability) if same_kit else None
    change = compare(first, second, warmth, rng, scatter)
    photos = before.photos, after.photos
    return RegionChange(name, lift, warmth, change, photos, _remedy(change, repeatability))


def _scatter(before: RegionReading, after: RegionReading, repeatability: Repeatability) -> Scatter:
    """How far L* of single photos scatters, on the side that scatters more."""
    between_occasions = [float(occasion_cov([side], repeatability)[0, 0]) for side in (before, after)]
    single = [
        max(side.repeat_cov[0][0] - common, 0.0) * side.photos
        for side, common in zip((before, after), between_occasions, strict=True)
    ]
    photos = min(before.photos, after.photos)
    laid = min(before.laid_cov[0][0], after.laid_cov[0][0])
    return Scatter(math.sqrt(max(single)), math.sqrt(max(between_occasions)), photos, math.sqrt(laid))


def _unlike(before: RegionReading, after: RegionReading, size: CameraError) -> Colours:
    """Both colours with their whole uncertainty: nothing cancels between different kits.

    Two cameras may still share an error that separates colours on either side of the card's grey, so the uncertainty is
    never smaller than with one kit.
    """
    whole = np.asarray(before.lab.cov) + np.asarray(after.lab.cov)
    alike = np.sum([np.asarray(colour.cov) for colour in _remaining(before, after, size)], axis=0)
    more = np.diag(np.maximum(np.diag(alike) - np.diag(whole), 0)) / 2
    first, second = (LabMeasured(r.lab.lab, matrix3(np.asarray(r.lab.cov) + more), r.lab.dof) for r in (before, after))
    return first, second


def _remaining(before: RegionReading, after: RegionReading, size: CameraError) -> Colours:
    """Both colours with the part of their uncertainty that does not cancel between two photos of one kit."""
    apart = np.subtract(after.lab.lab, before.lab.lab)
    noise = np.asarray(before.repeat_cov) + np.asarray(after.repeat_cov)
    # part of the difference is noise, on average as much as three components of it
    surplus = max(1 - 3 / max(float(apart @ np.linalg.solve(noise, apart)), 3.0), 0.0)
    kept = between(before.lab.lab, np.add(before.lab.lab, surplus * apart), size) / 2
    first, second = (
        LabMeasured(r.lab.lab, matrix3(np.asarray(r.repeat_cov) + kept), r.lab.dof) for r in (before, after)
    )
    return first, second


def _remedy(change: Change, repeatability: Repeatability) -> Remedy:
    if change.scatter is None:
        return "one kit"
    if change.photos_needed is not None:
        return "more photos"
    if change.photos_anew is not None:
        return "photos anew"
    return "nothing" if repeatability.covers_light else "set-up check"
