"""Hair that was cut: the earlier photo is read again at the distances from the root that are left.

A band is a share of the length from root to tip. Once the tips are off, the same share of the length is other hair, and
a comparison would tell the cut instead of the colour. So where both lengths are known in millimetres, the earlier bands
are moved along the earlier photo's own profile to where the later ones lie; no photo has to be opened again.

Hair that is longer later is compared at like share of its length. Extensions are other hair anyway; hair that grew is
new at the root only, and its tips, at the same share, are the same tips. Once grown hair was cut, what now lies at some
distance from the root lay nearer to it before, by what grew; the root itself is read at the scalp in both photos.

That a comparison at like distance from the root is the fair one after a cut is common practice, no source.

References
----------
- Growth: Loussouarn et al., tabled in a hair-science textbook (ch. 6, table 1): 280 ± 50, 367 ± 56 and 411 ± 53 µm a
  day in three groups of 511 people; another sample 256 ± 44 and 396 ± 55.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from tracker.compare.photo_set import State
from tracker.errors import TrackerError
from tracker.fade import months_between
from tracker.maths.colorimetry import Floats, lab_to_linear, linear_to_lab
from tracker.maths.quantities import LabMeasured, Measured, matrix3, vector3
from tracker.measure.card_scale import scale_of
from tracker.measure.hair import BANDS
from tracker.measure.reading import PhotoReading, RegionReading
from tracker.record.records import PhotoRecord, Visit

PUBLISHED_RATE = Measured(11.0, 2.8, "mm a month")
"""Over all heads: the 95 % band of 5.5 to 16.5 covers the published groups within two of their own spreads. Nobody is
asked which group a client belongs to."""

_CUTS = frozenset({"cut", "haircut", "trim"})  # words of a service or a step
_SURE = 1.96  # standard uncertainties by which hair must be shorter where nobody noted a cut
_GRID = 200  # places inside a band at which a profile is read
# share of the length over which places of a profile stray together, since clumps run along the hair: on our rendered
# heads, photos of unchanged hair agree to 0.7 a fortieth of the length apart, to 0.25 three fortieths
_CLUMP_LENGTH = 0.07
_FEWEST = 12  # places of a profile; as for a blend
_STEPS = 80  # values of a stretch that are pooled
_AT_ALL = 0.05  # share of the length: the least that is left of any hair


_NOTHING = Measured(0.0, 0.0, "mm")


@dataclass(frozen=True, slots=True)
class Cut:
    """What is known of a cut between two photos.

    Attributes
    ----------
    before, after : Measured or None, lengths from root to tip as the hair hangs in the photos, mm; None where a card
        gives no scale
    noted : bool, True where the visit says that hair was cut, False where only the lengths tell
    grown : Measured, mm by which the hair grew in between
    """

    before: Measured | None
    after: Measured | None
    noted: bool
    grown: Measured = _NOTHING

    @property
    def away(self) -> Measured | None:
        """What was cut away, mm, never less than nothing; None without lengths."""
        if self.before is None or self.after is None:
            return None
        u = math.hypot(self.before.u, self.after.u, self.grown.u)
        return Measured(max(self.before.value + self.grown.value - self.after.value, 0.0), u, "mm")

    @property
    def shows(self) -> bool:
        """True where the lengths alone show it."""
        return self.away is not None and self.away.value > _SURE * self.away.u

    @property
    def left(self) -> Measured | None:
        """The later length as a share of the earlier one, where nothing grew in between; None without lengths."""
        if self.before is None or self.after is None:
            return None
        share = min(max(self.after.value / self.before.value, _AT_ALL), 1.0)
        off = math.hypot(self.before.u / self.before.value, self.after.u / self.after.value)
        return Measured(share, share * off, "share")

    def earlier(self, share: float, region: str) -> tuple[float, float, float]:
        """Where the hair at a `share` of the later length lay in the earlier photo, as a share of its length.

        Returns it as it most likely is, and with the lengths one standard uncertainty off either way.

        Parameters
        ----------
        share : float, 0..1, of the later length
        region : str, the band; the root is read at the scalp, whatever grew
        """
        left = self.left
        if left is None or self.before is None:
            return share, share, share
        grown = _NOTHING if region == "root" else self.grown
        place = share * left.value - grown.value / self.before.value
        off = math.hypot(share * left.u, grown.u / self.before.value)
        return place, place - off, place + off


def holds_cut(services: Iterable[str], steps: Iterable[str] = ()) -> bool:
    """True where a visit's words tell that hair was cut.

    Parameters
    ----------
    services, steps : names, or free words

    >>> holds_cut(["toner", "dry cut"]), holds_cut(["shortcut to blond"])
    (True, False)
    """
    return any(_CUTS.intersection(re.findall(r"[a-z]+", words.lower())) for words in (*services, *steps))


def cut_noted(visit: Visit | None) -> bool:
    """True where `visit` says that hair was cut."""
    return visit is not None and holds_cut(visit.services, (step.what for step in visit.steps))


def length_of(photos: Iterable[PhotoRecord]) -> Measured | None:
    """Length from root to tip in `photos` of one state, as the hair hangs, mm; None where no card gives a scale."""
    found = []
    for photo in photos:
        if photo.marks is None or photo.reading is None:
            continue
        try:
            scale = scale_of(photo.reading, photo.marks, photo.size)
        except TrackerError:
            continue
        if scale is not None:
            found.append(scale.path)
    if not found:
        return None
    values = [length.value for length in found]
    # the card hangs as deep beside the hair in each of them: more photos do not average that out
    u = float(np.mean([length.u for length in found]))
    spread = float(np.std(values, ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else 0.0
    return Measured(float(np.mean(values)), max(u, spread), "mm")


def cut_of(before: State, after: State, visit: Visit | None = None) -> Cut | None:
    """The cut between two states; None where there was none, as far as is known.

    Parameters
    ----------
    before, after : State, whose photos count
    visit : Visit or None, that both belong to, or that lies in between
    """
    months = months_between(before.standing.taken_at, after.standing.taken_at)
    lengths = (length_of(state.used) for state in (before, after))
    return cut_between(*lengths, noted=cut_noted(visit), months=max(months, 0.0))


def cut_between(
    before: Measured | None, after: Measured | None, *, noted: bool = False, months: float = 0.0
) -> Cut | None:
    """The cut between two photos; None where there was none, as far as is known.

    Parameters
    ----------
    before, after : Measured or None, lengths of the hair in mm, None where the card gives no scale
    noted : bool, True where a visit in between, or that of both photos, holds a cut
    months : float, >= 0, between the two
    """
    grown = Measured(PUBLISHED_RATE.value * months, PUBLISHED_RATE.u * months, "mm")
    found = Cut(before, after, noted, grown)
    return found if noted or found.shows else None


def at_like_distance(before: PhotoReading, cut: Cut | None) -> PhotoReading:
    """The earlier reading with its bands and stretches where the later ones lie; unchanged without lengths.

    Parameters
    ----------
    before : PhotoReading, with its kept profile
    cut : Cut or None, from `cut_between`

    Returns
    -------
    PhotoReading : its profile stays along its own length

    Notes
    -----
    A band moves by the difference of the profile's means over both ranges, taken in linear light. Its ± grows by what
    one standard uncertainty of the lengths moves it, and by the scatter of the profile from place to place. Lights and
    lows of a band move with its lightness.
    """
    if cut is None or cut.left is None or len(before.profile) < _FEWEST:
        return before
    regions = tuple(_moved(region, before, cut) for region in before.regions)
    return replace(before, regions=regions, stretches=_stretches(before.stretches, cut.left.value))


def _moved(region: RegionReading, reading: PhotoReading, cut: Cut) -> RegionReading:
    band = next(band for band in BANDS if band.name == region.name)
    ends = [cut.earlier(share, region.name) for share in (band.start, band.stop)]
    here = _weights(reading, band.start, band.stop)
    linear = lab_to_linear(np.array([point.lab for point in reading.profile]))
    there, nearer, farther = (_weights(reading, start, stop) for start, stop in zip(*ends, strict=True))
    shift = linear_to_lab(there @ linear) - linear_to_lab(here @ linear)
    slope = (linear_to_lab(farther @ linear) - linear_to_lab(nearer @ linear)) / 2
    more = np.outer(slope, slope) + _scatter(region, reading, there - here)
    cov = matrix3(np.asarray(region.lab.cov) + more)
    rise, u = float(shift[0]), math.sqrt(float(more[0, 0]))
    return replace(
        region,
        lab=LabMeasured(vector3(np.asarray(region.lab.lab) + shift), cov, region.lab.dof),
        repeat_cov=matrix3(np.asarray(region.repeat_cov) + more),
        lights=_along(region.lights, rise, u),
        lows=_along(region.lows, rise, u),
    )


def _along(measured: Measured, rise: float, u: float) -> Measured:
    return Measured(measured.value + rise, math.hypot(measured.u, u), measured.unit, measured.dof)


def _weights(reading: PhotoReading, start: float, stop: float) -> Floats:
    """How much each place of the profile counts in the mean between two shares of the length, (n,); sums to one."""
    places = np.array([point.position for point in reading.profile])
    at = np.clip(start + (np.arange(_GRID) + 0.5) / _GRID * (stop - start), 0.0, 1.0)
    return np.asarray([np.interp(at, places, one).mean() for one in np.eye(len(places))])


def _scatter(region: RegionReading, reading: PhotoReading, weights: Floats) -> Floats:
    """Covariance of Lab by the scatter of a profile whose places count with these `weights`.

    The profile tells the scatter of L* only; a* and b* scatter with it as they do in the whole band.
    """
    places = np.array([point.position for point in reading.profile])
    u = weights * np.array([point.u_lightness for point in reading.profile])
    alike = np.exp(-np.abs(places[:, None] - places) / _CLUMP_LENGTH)
    own = np.asarray(region.repeat_cov) - np.asarray(region.light_cov)
    if own[0, 0] <= 0:
        own = np.asarray(region.repeat_cov)
    return np.asarray(own * (float(u @ alike @ u) / max(float(own[0, 0]), 1e-9)))


def _stretches(stretches: tuple[tuple[float, ...], ...], left: float) -> tuple[tuple[float, ...], ...]:
    """Quantiles of each later stretch, pooled from the earlier stretches that lie at its distance from the root."""
    number = len(stretches)
    found = []
    for index in range(number):
        start, stop = (left * edge for edge in (index, index + 1))
        parts: list[Floats] = []
        steps = 0
        for other, quantiles in enumerate(stretches):
            share = (min(stop, other + 1) - max(start, other)) / left
            if share <= 0:
                continue
            if not quantiles:
                parts = []
                break
            steps = len(quantiles)
            at = (np.arange(max(round(share * _STEPS), 1)) + 0.5) / max(round(share * _STEPS), 1)
            parts.append(np.interp(at, np.linspace(0, 1, steps), quantiles))
        pooled = np.quantile(np.concatenate(parts), np.linspace(0, 1, steps)) if parts else np.empty(0)
        found.append(tuple(round(float(value), 2) for value in pooled))
    return tuple(found)
