"""Several photos of the same state: one reading from them, and which of them disagrees.

Errors that differ between photos average out. Errors that they share do not: the camera's rendering, the tolerance of
the card, and those of the whole occasion, from who took them and how the light fell on card and hair. How the hair lies
is shared too, unless it was combed anew between the photos.

References
----------
[GUM]  JCGM 100:2008, 4.2 and 4.3: the mean of repeats and its uncertainty; pooled estimates from earlier series.
[HOT]  Hotelling 1931, Ann Math Statist 2:360-378.
[DUN]  Dunn 1961, J Am Stat Assoc 56:52-64: several tests at once, each at its share of the level.
[BIR]  Birge 1932, Phys Rev 40:207-227: results that disagree more than they should are less certain than they claim.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import astuple, dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.errors import CannotCompare
from tracker.maths.quantities import LabMeasured, Measured, Vector3, matrix3, vector3
from tracker.maths.uncertainty import effective_dof, hotelling_limit
from tracker.measure.reading import REGIONS, Dropped, PhotoReading, ProfilePoint, RegionReading
from tracker.measure.repeatability import Repeatability

Array = NDArray[np.float64]

_ALPHA = 0.05  # chance of a false alarm for a state without any odd photo, over all its photos and bands


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A photo that lies further from the others than repeats do.

    Attributes
    ----------
    photo : int, its place among the readings, from 0
    region : str, the band where it differs most
    delta : the photo minus the mean of the others, L*, a*, b*
    distance : float, length of `delta`, CIELAB units
    limit : float, the largest distance in that direction between repeats of the same hair
    pair : bool, True where only two are left, and nothing shows which is the odd one
    """

    photo: int
    region: str
    delta: Vector3
    distance: float
    limit: float
    pair: bool

    @property
    def axis(self) -> int:
        """Along which axis most of the difference lies: 0 for L*, 1 for a*, 2 for b*."""
        return max(range(3), key=lambda axis: (abs(self.delta[axis]), axis))


def mean_of_replicates(
    readings: Sequence[PhotoReading], repeatability: Repeatability, combed_anew: bool = False
) -> PhotoReading:
    """One reading from several photos of the same state.

    Parameters
    ----------
    readings : sequence of PhotoReading, of the same hair in the same state, each with numbers
    repeatability : Repeatability in force
    combed_anew : bool, True where the hair was combed anew between all of these photos; False also where nobody noted

    Returns
    -------
    PhotoReading : with combined bands; card, correction and checks are those of the first photo

    Raises
    ------
    CannotCompare : none has a number

    Notes
    -----
    The mean of Lab. The spread between photos pools prior knowledge (`dof` degrees of freedom, at most those of
    `repeatability`) with what these photos show (n - 1). Where one of them disagrees but is kept, the spread is widened
    to what the photos show, so that the result does not claim more than they support [BIR].
    """
    usable = [reading for reading in readings if reading.ok]
    if not usable:
        raise CannotCompare("None of these photos has a number.", "Look at their checks and take one again.")
    first = usable[0]
    if len(usable) == 1:
        return first
    odd = bool(disagreements(usable, repeatability))
    regions = []
    for name in REGIONS:
        found = [region for reading in usable if (region := reading.region(name)) is not None]
        if found:
            regions.append(_combined(found, repeatability, odd, combed_anew))
    stretches = np.array([reading.stretches for reading in usable]) if _alike(usable) else None
    return replace(
        first,
        method_version=" and ".join(sorted({reading.method_version for reading in usable})),
        regions=tuple(regions),
        profile=_profile(usable),
        stretches=first.stretches if stretches is None else tuple(map(tuple, stretches.mean(axis=0).tolist())),
    )


def _alike(readings: Sequence[PhotoReading]) -> bool:
    """True where the stretches of all photos can be averaged one by one."""
    return len({tuple(map(len, reading.stretches)) for reading in readings}) == 1 and bool(readings[0].stretches)


def disagreements(readings: Sequence[PhotoReading], repeatability: Repeatability) -> tuple[Disagreement, ...]:
    """Photos that differ from the others by more than repeats of the same hair do; at most one entry each.

    The furthest is found first and the rest is judged without it, so that one odd photo does not make the others look
    odd. Each photo and band is tested at its share of 5 % [DUN], as a vector [HOT].

    Parameters
    ----------
    readings : sequence of PhotoReading, of one occasion
    repeatability : Repeatability in force

    Notes
    -----
    Hair falls otherwise, and a card is held otherwise, whether or not anybody noted that it was combed or taken up
    again; so a photo is odd only where it lies further out than that takes it.
    """
    left = [index for index, reading in enumerate(readings) if reading.ok]
    found: list[Disagreement] = []
    while len(left) >= 2:
        worst = _worst(readings, left, repeatability)
        if worst is None:
            break
        found.append(worst)
        if worst.pair:
            break
        left.remove(worst.photo)
    return tuple(found)


def _worst(readings: Sequence[PhotoReading], left: Sequence[int], repeatability: Repeatability) -> Disagreement | None:
    """The photo and band that lie furthest out, if beyond the limit."""
    pair = len(left) == 2
    cells = [
        (index, name)
        for name in REGIONS
        if all(readings[i].region(name) is not None for i in left)
        for index in (left[1:] if pair else left)
    ]
    worst: tuple[float, Disagreement] | None = None
    for index, name in cells:
        here = [region for i in left if (region := readings[i].region(name)) is not None]
        own = readings[index].region(name)
        others = [region for i in left if i != index and (region := readings[i].region(name)) is not None]
        if own is None:
            continue
        delta = np.subtract(own.lab.lab, np.mean([region.lab.lab for region in others], axis=0))
        cov = _within(here, repeatability, combed_anew=True) * (1 + 1 / len(others))
        limit = hotelling_limit(3, _known_dof(here, repeatability), _ALPHA / len(cells))
        reach = math.sqrt(float(delta @ np.linalg.solve(cov, delta)) / limit)  # how far out, in units of the limit
        if reach > max(1.0, worst[0] if worst is not None else 0.0):
            distance = float(np.linalg.norm(delta))
            worst = reach, Disagreement(index, name, vector3(delta), distance, distance / reach, pair)
    return None if worst is None else worst[1]


def occasion_cov(regions: Sequence[RegionReading], repeatability: Repeatability, combed_anew: bool = False) -> Array:
    """Covariance of L*, a*, b* that all photos of one occasion share but other occasions do not, (3, 3).

    Light that differs between hair and card is the same in all of them, and so is how the hair lies where it was not
    combed anew: their scatter shows neither. A studio's own spread between occasions has the same causes, so the larger
    of the two counts.

    Parameters
    ----------
    regions : sequence of RegionReading, of one band
    repeatability : Repeatability in force
    combed_anew : bool, True where the hair was combed anew between all photos of the occasion
    """
    shared = np.mean([region.light_cov for region in regions], axis=0)
    if not combed_anew:
        shared = shared + np.mean([region.laid_cov for region in regions], axis=0)
    smallest = np.min([np.diag(region.repeat_cov) for region in regions], axis=0)
    known = np.minimum(np.square(repeatability.shared), smallest)
    return np.asarray(shared + np.diag(np.maximum(known - np.diag(shared), 0)))


def _within(regions: Sequence[RegionReading], repeatability: Repeatability, combed_anew: bool) -> Array:
    """Prior covariance of one photo around the mean of its occasion."""
    mean = np.mean([region.repeat_cov for region in regions], axis=0)
    values, vectors = np.linalg.eigh(mean - occasion_cov(regions, repeatability, combed_anew))
    return np.asarray((vectors * np.maximum(values, 1e-6)) @ vectors.T)


def _known_dof(regions: Sequence[RegionReading], repeatability: Repeatability) -> float:
    """Degrees of freedom of the known spread, at most those of the study behind it."""
    return min([repeatability.dof, *(region.lab.dof for region in regions)])


def _combined(
    regions: Sequence[RegionReading], repeatability: Repeatability, odd: bool, combed_anew: bool
) -> RegionReading:
    n = len(regions)
    if n == 1:
        return regions[0]
    labs = np.array([region.lab.lab for region in regions])
    known, dof = _within(regions, repeatability, combed_anew), _known_dof(regions, repeatability)
    seen = np.cov(labs, rowvar=False)
    weight = (n - 1) / (dof + n - 1)
    within = (1 - weight) * known + weight * seen
    if odd:
        values, vectors = np.linalg.eigh(seen - within)
        within = within + (vectors * np.maximum(values, 0)) @ vectors.T
    between = occasion_cov(regions, repeatability, combed_anew)
    repeat = between + within / n
    alone = np.mean([np.subtract(region.lab.cov, region.repeat_cov) for region in regions], axis=0)

    kit = np.mean([region.kit_u for region in regions], axis=0).tolist()
    light = np.mean([region.light_cov for region in regions], axis=0)
    laid = np.zeros((3, 3)) if combed_anew else np.mean([region.laid_cov for region in regions], axis=0)
    lit = math.sqrt(float(light[0, 0]))
    # these photos show their own spread, not the error they share
    causes = light, laid, between - light - laid, within / n
    sizes = [math.sqrt(max(float(np.trace(part)), 0.0)) for part in causes]
    together = effective_dof(sizes, [math.inf, dof, repeatability.shared_dof, dof + n - 1])

    def pooled(of: Callable[[RegionReading], Measured], in_all: float) -> Measured:
        # hair that lies as it lay shows the same pieces again
        return _pooled([of(region) for region in regions], dof, math.inf if laid.any() else in_all)

    shares = [region.lightened for region in regions if region.lightened is not None]
    return replace(
        regions[0],
        lab=LabMeasured(vector3(labs.mean(axis=0)), matrix3(repeat + alone), together),
        repeat_cov=matrix3((repeat + repeat.T) / 2),
        lights=pooled(lambda region: region.lights, math.hypot(kit[0], lit)),
        lows=pooled(lambda region: region.lows, math.hypot(kit[1], lit)),
        dimension=pooled(lambda region: region.dimension, kit[2]),
        lightened=_pooled(shares, dof, math.inf if laid.any() else kit[3]) if shares else None,
        pixels=sum(region.pixels for region in regions),
        dropped=Dropped(*np.mean([astuple(region.dropped) for region in regions], axis=0).tolist()),
        photos=sum(region.photos for region in regions),
        kit_u=tuple(kit),
        light_cov=matrix3(light),
        laid_cov=matrix3(laid),
    )


def _pooled(repeats: Sequence[Measured], dof: float, in_all: float) -> Measured:
    """Mean of repeats of one number; its scatter pooled from the claim of each and the distances between them.

    The standard uncertainty that all of them share, `in_all`, is a part of each one's and does not average out; where
    it is infinite, all of each one's is shared.
    """
    values = np.array([repeat.value for repeat in repeats])
    n = len(values)
    dof = min([dof, *(repeat.dof for repeat in repeats)])
    each = float(np.mean([repeat.u**2 for repeat in repeats]))
    in_all = math.sqrt(each) if math.isinf(in_all) else in_all
    claimed = max(each - in_all**2, 0.0)
    weight = (n - 1) / (dof + n - 1)
    variance = (1 - weight) * claimed + weight * float(np.var(values, ddof=1))
    return Measured(float(values.mean()), math.sqrt(variance / n + in_all**2), repeats[0].unit, dof + n - 1)


def _profile(readings: Sequence[PhotoReading]) -> tuple[ProfilePoint, ...]:
    """The mean profile at the positions that all photos have."""
    rows = [{round(point.position, 6): point for point in reading.profile} for reading in readings]
    places = [place for place in rows[0] if all(place in row for row in rows)]
    points = []
    for place in places:
        here = [row[place] for row in rows]
        lab = np.mean([point.lab for point in here], axis=0)
        u = math.sqrt(float(np.mean([point.u_lightness**2 for point in here])) / len(here))
        points.append(ProfilePoint(here[0].position, vector3(lab), u))
    return tuple(points)
