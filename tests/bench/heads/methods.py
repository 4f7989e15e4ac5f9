"""Methods under test: each a small adaptor, from a developed photo to a reading, and from readings to changes.

Another method needs a class with the four members of `Method`, and its name in `METHODS`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from tests.bench.heads.cards import DARK, GREY, KINDS
from tests.bench.heads.develop import Developed
from tests.bench.heads.outline import band_lab, patch_mean
from tests.bench.heads.plates import CORE, MEAN
from tracker.compare.change import CHANGED
from tracker.compare.comparison import compare_readings, pair_colours
from tracker.compare.replicates import mean_of_replicates
from tracker.errors import TrackerError
from tracker.maths.colorimetry import Floats
from tracker.maths.uncertainty import coverage_factor
from tracker.measure import CARD_KINDS, Settings, find_marks, measure_photo
from tracker.measure.reading import REGIONS, RIBBON, WHOLE, PhotoReading
from tracker.measure.repeatability import PROVISIONAL


@dataclass(frozen=True, slots=True, eq=False)
class BandChange:
    """What a method says of one band.

    Attributes
    ----------
    delta : (3,), change of L*, a*, b*
    half : (3,) or None, half widths of the stated 95 % intervals
    changed : bool or None, whether it calls the change real; None where it does not say
    """

    delta: Floats
    half: Floats | None = None
    changed: bool | None = None


class Refused(Exception):
    """No number for this photo; `reason` is the check or the error that withheld it."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class Method(Protocol):
    """What the bench asks of a method."""

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of card that it can use, of `cards.KINDS`."""

    @property
    def part(self) -> str:
        """Which true colour it aims at, `plates.CORE` or `plates.MEAN`."""

    def read(self, photo: Developed) -> Any:
        """The reading of one photo; raises `Refused` where there is none."""

    def change(
        self, before: Sequence[Any], after: Sequence[Any], light: str, combed_anew: bool
    ) -> Mapping[str, BandChange]:
        """The change of each band between one or more readings of each state, by what was noted of light and hair."""


@dataclass(frozen=True, slots=True)
class Program:
    """The program as it is: with exact corners and path, or with all marks as it suggests them."""

    hair: str
    part: str = CORE
    kinds: tuple[str, ...] = tuple(kind for kind in KINDS if kind in CARD_KINDS)  # of those that it knows
    suggested: bool = False

    def read(self, photo: Developed) -> PhotoReading:
        """The program's own reading, along a ribbon or over the whole hair as it finds it."""
        marks = photo.marks if self.hair == RIBBON else replace(photo.marks, width=None)
        if self.suggested:
            found = find_marks(photo.picture, photo.kind)
            doubt = found.card or found.hair or found.doubt
            if doubt is not None:
                raise Refused(f"asks: {doubt.code}")
            marks = found.marks
        settings = Settings(card_stood=not photo.head.about["held"])
        try:
            reading = measure_photo(photo.picture, marks, settings, light=photo.noted)
        except TrackerError as error:
            raise Refused(error.code) from error
        if not reading.ok:
            raise Refused(next((check.name for check in reading.checks if check.stopped), "no hair"))
        return reading

    def change(
        self, before: Sequence[PhotoReading], after: Sequence[PhotoReading], light: str, combed_anew: bool
    ) -> dict[str, BandChange]:
        """The program's own comparison; that all photos are of one kit is told, not judged."""
        first, second = (mean_of_replicates(readings, PROVISIONAL, combed_anew) for readings in (before, after))
        found = {}
        for change in compare_readings(first, second, same_kit=True, light=light):
            colours = pair_colours(first, second, change.name, same_kit=True, light=light)
            assert colours is not None
            factor = coverage_factor(min(colour.dof for colour in colours))
            half = factor * np.asarray(change.change.u)
            found[change.name] = BandChange(np.asarray(change.change.delta), half, change.verdict == CHANGED)
        return found


class WholeWidth:
    """For comparison: all hair of the true outline between a band's heights, with gains from grey, or grey and dark.

    It states no interval and no verdict: what is left is the light, the camera and how the hair lies.
    """

    part = CORE
    kinds = ("grey18", "steps2")

    def read(self, photo: Developed) -> dict[str, Floats]:
        """CIELAB of each band."""
        linear = photo.picture.space.linear(photo.picture.encoded).astype(float)
        corners = np.array(photo.marks.corners)
        if photo.kind == "steps2":
            grey, dark = (patch_mean(linear, corners, (0.12, top, 0.88, top + 0.3)) for top in (0.1, 0.6))
            exponent = np.log(GREY / DARK) / np.log(np.mean(grey / dark))
            balanced = GREY * np.clip(linear / grey, 1e-6, None) ** np.clip(exponent, 0.6, 1.7)
        else:
            balanced = GREY * linear / patch_mean(linear, corners, (0.15, 0.15, 0.85, 0.85))
        return {band: band_lab(balanced, photo.hair, photo.shot, band) for band in REGIONS}

    def change(
        self, before: Sequence[dict[str, Floats]], after: Sequence[dict[str, Floats]], light: str, combed_anew: bool
    ) -> dict[str, BandChange]:
        """Difference of the means."""
        first, second = ({b: np.mean([one[b] for one in state], axis=0) for b in REGIONS} for state in (before, after))
        return {band: BandChange(np.asarray(second[band] - first[band])) for band in REGIONS}


METHODS: dict[str, Method] = {
    "ribbon": Program(RIBBON),
    "whole": Program(WHOLE, MEAN),
    "as suggested": Program(WHOLE, MEAN, suggested=True),
    "whole width": WholeWidth(),
}
