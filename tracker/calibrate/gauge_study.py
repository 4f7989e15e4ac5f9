"""The studio's set-up check: repeated photos of unchanged hair, and what makes them scatter.

References
----------
- Cano, Moguerza, Redchuk 2012, Six Sigma with R, chapter 5: crossed gauge study, pooling of the interaction.
- Satterthwaite 1946, Biometrics Bulletin 2:110-114: degrees of freedom of a sum of mean squares.
- JCGM 100:2008, H.5: days and repeats.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from tracker.errors import CannotCalibrate, TooFewReadings
from tracker.maths.quantities import Vector3, vector3
from tracker.maths.uncertainty import Array
from tracker.measure.reading import RIBBON
from tracker.measure.repeatability import Repeatability
from tracker.words import noun

Cells = Mapping[tuple[str, str, str], Sequence[Array]]

FEWEST_DOF = 6
"""Repeats below which no figure is given: with fewer, it is uncertain by more than 29 % (GUM E.4.3)."""

FEWEST_BETWEEN = 4
"""Degrees of freedom of people and days below which too few were seen to say how they differ: five days, or three
people on three days. Counted, not estimated: judging by the result would favour studies that found too little."""

_POOLING_LEVEL = 0.05

WANTED = "five hair samples from dark to light on five days, by whoever takes photos here, three photos each"


@dataclass(frozen=True, slots=True)
class Shot:
    """The readings of one photo of the set-up check.

    Attributes
    ----------
    sample : str, which hair, in the studio's own words
    operator : str, who took it
    session : str, when; nothing was packed away between the photos of one session
    labs : L*, a*, b* of each band, root first
    hair : str, `reading.RIBBON` or `reading.WHOLE`, how the hair was read
    """

    sample: str
    operator: str
    session: str
    labs: tuple[Vector3, ...]
    hair: str = RIBBON


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """The components of the scatter of one photo: standard deviations of L*, a* and b*.

    Attributes
    ----------
    repeat : between photos of the same hair by one person in one session
    operator, session : between people and between days; None where the study cannot tell
    occasion : interaction of person, session and hair; 0 where it was pooled with `repeat`
    total : of one photo, by anyone, on any day
    between : what all photos of one occasion share, with people and days as they came; if anything, too large
    dof, repeat_dof, between_dof : float, degrees of freedom behind `total`, `repeat` and `between`
    enough : bool, True where there were enough people and days to say how they differ
    photos, samples, operators, sessions : int, how many of each
    left_over : int, photos that could not help to tell people and days apart, because others are missing
    hair : str, `reading.RIBBON` or `reading.WHOLE`, how the hair of all photos was read
    """

    repeat: Vector3
    operator: Vector3 | None
    session: Vector3 | None
    occasion: Vector3
    total: Vector3
    between: Vector3
    dof: float
    repeat_dof: float
    between_dof: float
    enough: bool
    photos: int
    samples: int
    operators: int
    sessions: int
    left_over: int
    hair: str = RIBBON


def study(shots: Sequence[Shot]) -> GaugeStudy:
    """The scatter of a set-up check and its components.

    Parameters
    ----------
    shots : photos, all with the same number of bands and their hair read in the same way

    Raises
    ------
    CannotCalibrate : the hair was read in two ways
    TooFewReadings : too few repeats for a figure, with how many more are needed

    Notes
    -----
    Bands of one photo share its card and light, so variances are averaged over bands and degrees of freedom are those
    of one band. Additive model: hair + person + session + occasion + repeat, from the photos that make a complete
    table of hair, people, sessions and repeats. An occasion not significant at 5 % is pooled with the repeats;
    negative components count as 0.
    """
    ways = {shot.hair for shot in shots}
    if len(ways) > 1:
        raise CannotCalibrate(
            "Some of these photos were read along a ribbon and some over the whole hair: together they show no spread.",
            "Leave out those that were read along a ribbon.",
        )
    cells: dict[tuple[str, str, str], list[Array]] = defaultdict(list)
    for shot in shots:
        cells[shot.sample, shot.operator, shot.session].append(np.asarray(shot.labs, float))
    dof = sum(len(cell) - 1 for cell in cells.values())
    if dof < FEWEST_DOF:
        missing = FEWEST_DOF - dof
        raise TooFewReadings(
            f"Only {dof} of these photos repeat another one; {FEWEST_DOF} are needed at least.",
            f"Add {missing} more {noun(missing, 'photo')} of hair that was photographed already. Best is: {WANTED}.",
            value=float(dof),
            limit=float(FEWEST_DOF),
            unit="repeats",
        )
    within = sum(np.sum((np.stack(cell) - np.mean(cell, axis=0)) ** 2, axis=0).mean(axis=0) for cell in cells.values())
    repeat = np.asarray(within / dof)
    table, people, days = _table(cells)
    used = 0 if table is None else int(np.prod(table.shape[:4]))
    parts = _Parts(repeat, float(dof), float(dof)) if table is None else _components(table, repeat, dof)
    enough = table is not None and table.shape[1] + table.shape[2] - 2 >= FEWEST_BETWEEN
    names = [{getattr(shot, what) for shot in shots} for what in ("sample", "operator", "session")]
    return GaugeStudy(
        repeat=_sd(parts.repeat),
        operator=_sd(parts.operator) if people else None,
        session=_sd(parts.session) if days else None,
        occasion=_sd(parts.occasion),
        total=_sd(parts.total),
        between=_sd(parts.between),
        dof=parts.dof,
        repeat_dof=parts.repeat_dof,
        between_dof=parts.between_dof,
        enough=enough,
        photos=len(shots),
        samples=len(names[0]),
        operators=len(names[1]),
        sessions=len(names[2]),
        left_over=len(shots) - used if people or days else 0,
        hair=next(iter(ways)),
    )


def repeatability_of(found: GaugeStudy, name: str) -> Repeatability:
    """The yardstick that a set-up check gives.

    Parameters
    ----------
    found : GaugeStudy, evaluated
    name : str, shown with every result that uses it, such as ``set-up check of 3 March 2026``
    """
    repeat, shared = np.asarray(found.repeat), np.array(found.between)
    if not found.enough:
        # L* has an allowance for light anyway; in tone, days are assumed to differ as much as photos do: a weak choice
        # of our own
        shared[1:] = np.maximum(shared, repeat)[1:]
    people = f", {found.operators} people" if found.operators > 1 else ""
    days = f", {found.sessions} sessions" if found.sessions > 1 else ""
    heads = noun(found.samples, "sample")
    return Repeatability(
        name=name,
        sd=vector3(np.hypot(shared, repeat)),
        dof=found.repeat_dof,
        provisional=False,
        source=f"Own set-up check: {found.photos} photos of {found.samples} hair {heads}{people}{days}.",
        shared=vector3(shared),
        shared_dof=max(found.between_dof, float(FEWEST_BETWEEN)),
        # only a new occasion has new light
        covers_light=found.enough,
        hair=found.hair,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """Variances of L*, a* and b*, each (3,), and degrees of freedom."""

    repeat: Array
    repeat_dof: float
    dof: float
    between: Array = field(default_factory=lambda: np.zeros(3))
    between_dof: float = 0.0
    operator: Array = field(default_factory=lambda: np.zeros(3))
    session: Array = field(default_factory=lambda: np.zeros(3))
    occasion: Array = field(default_factory=lambda: np.zeros(3))

    @property
    def total(self) -> Array:
        """Variance of one photo by anyone on any day."""
        return np.asarray(self.repeat + self.operator + self.session + self.occasion)


def _sd(variance: Array) -> Vector3:
    return vector3(np.sqrt(variance))


def _table(cells: Cells) -> tuple[Array | None, bool, bool]:
    """The photos that make a complete table, (hair, people, sessions, repeats, bands, 3), and whether the effects of
    people and sessions can be separated from the rest.

    Where people and sessions changed together, occasions take the place of sessions.
    """
    samples, people, days = (sorted({key[axis] for key in cells}) for axis in range(3))
    grid = [[(person, day) for day in days] for person in people]
    occasions = sorted({key[1:] for key in cells})
    if len(occasions) == 1:
        return None, False, False
    if (found := _whole(cells, samples, grid)) is not None:
        return found, len(people) > 1, len(days) > 1
    return _whole(cells, samples, [occasions]), False, False


def _whole(cells: Cells, samples: Sequence[str], grid: Sequence[Sequence[tuple[str, str]]]) -> Array | None:
    """All hair seen on every occasion of the grid, with as many repeats as each has at least; None without any."""
    occasions = [occasion for row in grid for occasion in row]
    whole = [sample for sample in samples if all((sample, *occasion) in cells for occasion in occasions)]
    if not whole:
        return None
    repeats = min(len(cells[sample, *occasion]) for sample in whole for occasion in occasions)
    return np.array([[[cells[sample, *occasion][:repeats] for occasion in row] for row in grid] for sample in whole])


def _components(table: Array, repeat: Array, dof: int) -> _Parts:
    """Variance components of a complete table, from its mean squares."""
    p, o, s, r = table.shape[:4]
    cell = table.mean(axis=3)
    mean_person, mean_day = cell.mean(axis=(0, 2)), cell.mean(axis=(0, 1))
    mean_hair, mean = cell.mean(axis=(1, 2)), cell.mean(axis=(0, 1, 2))
    person = _Stratum(p * s * r * np.sum((mean_person - mean) ** 2, axis=0), o - 1)
    day = _Stratum(p * o * r * np.sum((mean_day - mean) ** 2, axis=0), s - 1)
    between = r * np.sum((cell - mean_hair[:, None, None]) ** 2, axis=(0, 1, 2))
    occasion = _Stratum(between - person.squares - day.squares, p * (o * s - 1) - (o - 1) - (s - 1))
    error = _Stratum(np.broadcast_to(repeat * dof, table.shape[4:]), dof)
    pooled = not _stands_out(occasion, error)
    base = _Stratum(occasion.squares + error.squares, occasion.dof + error.dof) if pooled else occasion
    strata = {"operator": (person, p * s * r), "session": (day, p * o * r)}
    parts = {
        name: np.maximum((stratum.mean - base.mean) / share, 0) if stratum.dof else np.zeros(3)
        for name, (stratum, share) in strata.items()
    }
    # the total as a combination of mean squares, for its degrees of freedom
    shares = {name: float(np.any(parts[name] > 0)) / share for name, (_, share) in strata.items()}
    rest = (1.0 if pooled else 1 / r) - sum(shares.values())
    terms = [(shares["operator"], person), (shares["session"], day), (rest, base)]
    if not pooled:
        terms.append((1 - 1 / r, error))
    # between occasions: the mean squares as they are, since subtracting the repeats would sometimes leave nothing
    shared = [(1 / (p * s * r), person), (1 / (p * o * r), day), *([] if pooled else [(1 / r, occasion)])]
    return _Parts(
        between=np.sum([share * stratum.mean for share, stratum in shared], axis=0),
        between_dof=_satterthwaite(shared),
        repeat=base.mean if pooled else error.mean,
        repeat_dof=float(base.dof if pooled else error.dof),
        dof=_satterthwaite(terms),
        occasion=np.zeros(3) if pooled else (occasion.mean - error.mean).clip(min=0) / r,
        **parts,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Stratum:
    """Sums of squares of the bands, (bands, 3), and their degrees of freedom."""

    squares: Array
    dof: int

    @property
    def mean(self) -> Array:
        """Mean square of L*, a*, b*, averaged over bands, (3,)."""
        return np.asarray(np.mean(self.squares, axis=0) / self.dof) if self.dof else np.zeros(3)


def _stands_out(occasion: _Stratum, error: _Stratum) -> bool:
    """True where occasions differ by more than repeats explain, in any of L*, a* and b*."""
    if occasion.dof <= 0:
        return False
    from scipy.special import fdtrc  # imported late: keeps `import tracker` light

    ratio = occasion.mean / np.maximum(error.mean, 1e-12)
    return bool(np.min(fdtrc(occasion.dof, error.dof, ratio)) < _POOLING_LEVEL / 3)


def _satterthwaite(terms: Sequence[tuple[float, _Stratum]]) -> float:
    """Degrees of freedom of a combination of mean squares, for L*, a* and b* together."""
    sizes = [(share * float(np.sum(stratum.mean)), stratum.dof) for share, stratum in terms if stratum.dof]
    total = sum(size for size, _ in sizes)
    return total**2 / sum(size**2 / dof for size, dof in sizes)
