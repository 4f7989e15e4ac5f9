"""Photos through the real pipeline, and how far its numbers are from the truth."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from multiprocessing import get_context

import numpy as np

from tests.bench.conditions import AFTER, AGAIN, BEFORE, KINDS, ROLES, Condition, kits
from tests.bench.hair import HEADS
from tests.bench.photograph import Shot, marks, misprints, take
from tests.bench.spectra import LIGHTS
from tracker.calibrate.level import DEFAULT_SCALE, estimate_level
from tracker.calibrate.warmth import warmth_gradient, warmth_value
from tracker.compare.comparison import RegionChange, compare_readings
from tracker.errors import TrackerError
from tracker.maths.colorimetry import Floats, delta_e_2000
from tracker.maths.quantities import LabMeasured, Measured
from tracker.maths.uncertainty import coverage_factor, hotelling
from tracker.measure import measure_photo
from tracker.measure.reading import PhotoReading, RegionReading
from tracker.photo import read_photo

Numbers = dict[str, float]

# lifts are judged on the scale in force, so its own uncertainty is left out
_EXACT = replace(DEFAULT_SCALE, cov=((0.0, 0.0, 0.0),) * 3)


@dataclass
class Cell:
    """Everything that was seen in one condition with one kind of card.

    Attributes
    ----------
    photos : int, photos taken
    refused : share of them by which check or error, as counts
    readings : one entry for each band of each photo that was measured
    pairs : one entry for each band of each comparison
    """

    condition: str
    group: str
    kind: str
    photos: int = 0
    refused: dict[str, int] = field(default_factory=dict)
    readings: list[Numbers] = field(default_factory=list)
    pairs: list[Numbers] = field(default_factory=list)

    def add(self, other: Cell) -> None:
        """Take in what another process saw."""
        self.photos += other.photos
        for reason, count in other.refused.items():
            self.refused[reason] = self.refused.get(reason, 0) + count
        self.readings += other.readings
        self.pairs += other.pairs


def run(conditions: Iterable[Condition], heads: int = len(HEADS), processes: int = 2) -> list[Cell]:
    """All cells of some conditions, in their order, with the first so many heads."""
    chosen = list(conditions)
    jobs = [(condition, head) for head in range(heads) for condition in chosen]
    cells = {(c.name, kind): Cell(c.name, c.group, kind) for c in chosen for kind in KINDS}
    with get_context("fork").Pool(processes) as pool:
        for found in pool.imap_unordered(one_head, jobs, chunksize=max(1, min(4, len(jobs) // 8))):
            for part in found:
                cells[part.condition, part.kind].add(part)
    for cell in cells.values():  # whichever process came first
        cell.readings.sort(key=lambda n: sorted(n.items()))
        cell.pairs.sort(key=lambda n: sorted(n.items()))
    return list(cells.values())


def one_head(job: tuple[Condition, int]) -> list[Cell]:
    """One head in one condition: two kits, three photos with each, beside every kind of card."""
    condition, head = job
    return [_one_card(condition, head, kind) for kind in KINDS]


def _one_card(condition: Condition, head: int, kind: str) -> Cell:
    cell = Cell(condition.name, condition.group, kind)
    both = kits(condition)[head]
    alike = both[0] == both[1]
    printed = misprints(condition, kind, head)
    found: dict[tuple[int, str], tuple[Shot, PhotoReading | None]] = {}
    for kit, (lamp, camera) in enumerate(both[: 1 if alike else 2]):
        for role in ROLES:
            shot = Shot(condition, kind, head, role, lamp, camera, printed[kit])
            found[kit, role] = shot, _measured(shot, cell)
    for kit in range(1 if alike else 2):
        _compare(cell, found[kit, BEFORE], found[kit, AFTER], same=True, null=False)
        _compare(cell, found[kit, BEFORE], found[kit, AGAIN], same=True, null=True)
        if not alike:
            _compare(cell, found[kit, BEFORE], found[1 - kit, AFTER], same=False, null=False)
            _compare(cell, found[kit, BEFORE], found[1 - kit, AGAIN], same=False, null=True)
    return cell


def measure(shot: Shot) -> PhotoReading:
    """The real pipeline: bytes, photo, reading."""
    return measure_photo(read_photo(take(shot)), marks(shot.kind), light=shot.noted)


def _measured(shot: Shot, cell: Cell) -> PhotoReading | None:
    cell.photos += 1
    try:
        reading = measure(shot)
        reasons = [check.name for check in reading.checks if not check.ok]
    except TrackerError as error:
        reading, reasons = None, [error.code]
    for reason in reasons[:1]:
        cell.refused[reason] = cell.refused.get(reason, 0) + 1
    if reading is None or not reading.ok:
        return None
    for region in reading.regions:
        cell.readings.append(_reading_numbers(shot, region))
    return reading


def _reading_numbers(shot: Shot, region: RegionReading) -> Numbers:
    """Errors of one band, and whether its stated 95 % intervals hold the truth (1) or not (0).

    Level and warmth are judged on the scale and the locus in force, so the uncertainty of those is left out.
    """
    true, lab = shot.truth[region.name], np.asarray(region.lab.lab)
    error, k = lab - true, coverage_factor(region.lab.dof)
    gradient = warmth_gradient(region.lab.lab)
    warmth = warmth_value(region.lab.lab) - warmth_value(true)
    u_warmth = float(np.sqrt(gradient @ np.asarray(region.lab.cov) @ gradient))
    level = DEFAULT_SCALE.level(float(lab[0])) - DEFAULT_SCALE.level(float(true[0]))
    on_scale = estimate_level(region.lab).value is not None and DEFAULT_SCALE.lightness(1) <= true[0]
    return {
        "head": shot.head,
        "camera": shot.camera,
        "lamp": LIGHTS.index(shot.lamp),
        "true L": float(true[0]),
        "size": float(delta_e_2000(lab, true)),
        "L": float(error[0]),
        "a": float(error[1]),
        "b": float(error[2]),
        "warmth": warmth,
        "level": level if on_scale else np.nan,
        **{f"covers {n}": float(abs(e) <= k * u) for n, e, u in zip("Lab", error, region.lab.u, strict=True)},
        "covers warmth": float(abs(warmth) <= k * u_warmth),
        "covers level": float(abs(level) <= k * region.lab.u[0] / DEFAULT_SCALE.slope(lab[0])) if on_scale else np.nan,
        "covers colour": float(hotelling(error, region.lab.cov, region.lab.dof) >= 0.05),
        "u L": region.lab.u[0],
        "u warmth": u_warmth,
        **{f"repeat u {n}": float(np.sqrt(region.repeat_cov[i][i])) for i, n in enumerate("Lab")},
    }


def _compare(
    cell: Cell,
    before: tuple[Shot, PhotoReading | None],
    after: tuple[Shot, PhotoReading | None],
    *,
    same: bool,
    null: bool,
) -> None:
    if before[1] is None or after[1] is None:
        return
    for change in compare_readings(before[1], after[1], same_kit=same, light=before[0].noted, scale=_EXACT):
        true = before[0].truth[change.name], after[0].truth[change.name]
        first, second = before[1].region(change.name), after[1].region(change.name)
        if first is not None and second is not None:
            numbers = _pair_numbers(change, true, (first.lab, second.lab))
            facts = {"same": float(same), "null": float(null), "camera": float(before[0].camera)}
            cell.pairs.append(facts | numbers)


def _pair_numbers(change: RegionChange, true: tuple[Floats, Floats], seen: tuple[LabMeasured, LabMeasured]) -> Numbers:
    """Errors of one comparison, coverage of its intervals, and its verdict."""
    lift = DEFAULT_SCALE.level(float(true[1][0])) - DEFAULT_SCALE.level(float(true[0][0]))
    warmth = warmth_value(true[1]) - warmth_value(true[0])
    error = np.asarray(change.change.delta) - (true[1] - true[0])
    k = coverage_factor(min(seen[0].dof, seen[1].dof))
    on_scale = min(float(true[0][0]), float(true[1][0])) >= DEFAULT_SCALE.lightness(1)
    stated = change.lift.value if on_scale else None
    return {
        "true lift": lift,
        "true size": float(delta_e_2000(*true)),
        "lift": stated.value - lift if stated else np.nan,
        "warmth": change.warmth.value - warmth,
        **{n: float(e) for n, e in zip("Lab", error, strict=True)},
        "covers lift": _covers(stated, lift) if stated else np.nan,
        "covers warmth": _covers(change.warmth, warmth),
        **{f"covers {n}": float(abs(e) <= k * u) for n, e, u in zip("Lab", error, change.change.u, strict=True)},
        "u L": change.change.u[0],
        "u warmth": change.warmth.u,
        "changed": float(change.verdict == "changed"),
        "no change": float(change.verdict == "no meaningful change"),
    }


def _covers(measured: Measured, true: float) -> float:
    return float(abs(measured.value - true) <= coverage_factor(measured.dof) * measured.u)
