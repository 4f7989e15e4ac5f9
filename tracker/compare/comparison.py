"""Before against after, region by region: lighter or darker, warmer or ashier, and by how much.

Differences with the same camera, card and light are far more certain than absolute values, because the error of the
camera's rendering cancels. Different kits are compared with the larger uncertainty that they deserve.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from tracker.calibrate.level import DEFAULT_SCALE, LevelScale, Lift, estimate_lift
from tracker.calibrate.tone import in_b, tone_change, tone_gradient
from tracker.calibrate.warmth import DEFAULT_LOCUS, NeutralLocus, warmth_change
from tracker.compare.answer import Answer, Spread, answer_lightness, answer_tone, lightness_margin, tone_margin
from tracker.compare.change import Change, change_between
from tracker.compare.replicates import occasion_cov
from tracker.compare.transition import Interval
from tracker.errors import CannotCompare
from tracker.maths.colorimetry import Floats
from tracker.maths.quantities import LabMeasured, Measured, Vector3, matrix3
from tracker.measure.camera_error import CameraError, between
from tracker.measure.reading import REGIONS, PhotoReading, RegionReading
from tracker.measure.reference_card import camera_error
from tracker.measure.repeatability import PROVISIONAL, Repeatability
from tracker.measure.spot import Factor

_TOO_SMALL = 1e-3  # levels, below which the slope at the middle serves as the mean slope

Colours = tuple[LabMeasured, LabMeasured]
Remedy = Literal["more photos", "photos anew", "set-up check", "one kit", "nothing"]


@dataclass(frozen=True, slots=True)
class RegionChange:
    """One region before and after.

    Attributes
    ----------
    name : str, one of `REGIONS`
    lift : change in level
    warmth : change in warmth as both photos show it, CIELAB units, positive = warmer; the bench tries it
    lightness : Answer, is it lighter or darker, L*
    levels : Interval or None, `lightness` in levels, so both have the same sign; None outside the scale
    tone : Answer, is it warmer or ashier, b* at that level
    change : the difference in numbers, its size and the verdict
    photos : int and int, how many show the hair before and after
    remedy : what would settle a change that is too close to call
    """

    name: str
    lift: Lift
    warmth: Measured
    lightness: Answer
    levels: Interval | None
    tone: Answer
    change: Change
    photos: tuple[int, int]
    remedy: Remedy

    @property
    def verdict(self) -> str:
        """``changed``, ``no meaningful change`` or ``cannot tell yet``."""
        return self.change.verdict


def says_most(changes: Sequence[RegionChange]) -> RegionChange | None:
    """The band of `changes` with the largest sure change of lightness, else of tone, else the first; None of none."""
    lifted = [change for change in changes if change.lightness.changed]
    if lifted:
        return max(lifted, key=lambda change: abs(change.lightness.value))
    toned = [change for change in changes if change.tone.changed]
    if toned:
        return max(toned, key=lambda change: abs(change.tone.value))
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
    sides = (before, first), (after, second)
    middle = (first.lab[0] + second.lab[0]) / 2
    spot = repeatability.spot
    lightness = answer_lightness(
        second.lab[0] - first.lab[0],
        _spread(sides, _of_lightness, same_kit, repeatability, spot.photo, spot.occasion),
        lightness_margin(middle, scale),
    )
    warmer, curve = tone_change(first, second)
    turned = _spread(sides, tone_gradient, same_kit, repeatability, spot.tone, spot.occasion)
    tone = answer_tone(
        in_b(warmer, middle),
        replace(turned, kit=turned.kit + curve**2).times(in_b(1.0, middle)),
        tone_margin(math.hypot(*np.mean([first.lab[1:], second.lab[1:]], axis=0))),
    )
    change = change_between(first, second, lightness, tone, rng)
    return RegionChange(
        name,
        lift,
        warmth,
        lightness,
        _in_levels(lightness, lift, scale.slope(middle)),
        tone,
        change,
        (before.photos, after.photos),
        _remedy(change, same_kit, repeatability),
    )


def _in_levels(lightness: Answer, lift: Lift, slope: float) -> Interval | None:
    """The interval of L* in levels, by the mean slope of the scale between both."""
    if lift.value is None:
        return None
    per_level = lightness.value / lift.value.value if abs(lift.value.value) > _TOO_SMALL else slope
    return Interval(lightness.value, lightness.low, lightness.high).times(1 / per_level)


def _of_lightness(_: Vector3) -> Floats:
    return np.array([1.0, 0.0, 0.0])


def _spread(
    sides: Sequence[tuple[RegionReading, LabMeasured]],
    gradient: Callable[[Vector3], Floats],
    same_kit: bool,
    repeatability: Repeatability,
    photo: Factor,
    shared: Factor,
) -> Spread:
    """What makes the difference of a quantity uncertain, cause by cause; both sides together.

    Between different kits nothing is told apart, and no number of photos helps.
    """
    own = lain = occasion = kit = 0.0
    for region, left in sides:
        slope = gradient(region.lab.lab)

        def of(cov: ArrayLike, slope: Floats = slope) -> float:
            return max(float(slope @ np.asarray(cov) @ slope), 0.0)

        whole, lying = of(region.repeat_cov), of(region.laid_cov)
        together = max(of(occasion_cov([region], repeatability)) - lying, 0.0)
        lain += photo.value * lying
        occasion += shared.value * together
        own += photo.value * max(whole - together - lying, 0.0)
        kit += max(of(left.cov) - whole, 0.0)
    photos = [region.photos for region, _ in sides]
    dof = min(left.dof for _, left in sides)
    if not same_kit:
        return Spread(0.0, kit=own + lain + occasion + kit, kit_dof=dof, photos=min(photos))
    return Spread(own, lain, occasion, kit, min(photo.dof + sum(photos) - 2, dof), shared.dof, photos=min(photos))


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


def _remedy(change: Change, same_kit: bool, repeatability: Repeatability) -> Remedy:
    if not same_kit:
        return "one kit"
    if change.photos_needed is not None:
        return "more photos"
    if change.photos_anew is not None:
        return "photos anew"
    return "nothing" if repeatability.covers_light else "set-up check"
