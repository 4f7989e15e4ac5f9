"""Candidate corrections on the same photos: readings, lift and warmth change, by group of conditions."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from typing import Any

import numpy as np

from tests.bench.conditions import AFTER, BEFORE, CONDITIONS, KINDS, Condition, kits
from tests.bench.corrections import CANDIDATES, own
from tests.bench.gloss import BODIES, Body, trimmed
from tests.bench.hair import HEADS
from tests.bench.photograph import Shot, marks, misprints, take
from tests.bench.report import table
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.calibrate.warmth import warmth_value
from tracker.errors import TrackerError
from tracker.maths.colorimetry import Floats, delta_e_2000, linear_to_lab
from tracker.measure import card_kind
from tracker.measure.hair import BANDS, HairPath, clipped_codes, straighten
from tracker.measure.reading import REGIONS, Marks
from tracker.measure.reference_card import CardReading, read_card
from tracker.photo import Photo, read_photo

# conditions that a correction can do something about, by the name under which they are pooled
POOLS = {
    "clean": ("base", "daylight only", "one stop under", "balance 10 percent", "hair relaid"),
    "look": ("contrast mild", "contrast strong", "saturation 12", "saturation 25"),
    "glare": ("glare 1 percent", "glare 2 percent"),
    "phone": ("phone mild", "phone strong"),
    "other": (
        "one matrix for all lights",
        "noise high",
        "quality 70",
        "light off by 0 2",
        "second light 25",
        "chart as tabled",
    ),
}


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One photo before any correction: its card, and the ribbon's pixels of each band."""

    card: CardReading
    bands: dict[str, tuple[Floats, np.ndarray]]


def see(shot: Shot) -> Seen | None:
    """Card and ribbon of a shot, or None where the card is refused."""
    return see_photo(read_photo(take(shot)), marks(shot.kind))


def see_photo(picture: Photo, placed: Marks) -> Seen | None:
    """The same of any photo with its marks."""
    assert placed.corners is not None
    try:
        kind = card_kind(placed.card_kind)
        card = read_card(picture.encoded, picture.space, kind, placed.corners)
    except TrackerError:
        return None
    strip = straighten(picture.encoded, HairPath(placed.path, placed.width), largest=14_000)
    linear = picture.space.linear(strip.codes).astype(float)
    usable = strip.inside & ~clipped_codes(strip.codes)
    rows = {band.name: strip.rows(band.start, band.stop) for band in BANDS}
    return Seen(card, {name: (linear[part], usable[part]) for name, part in rows.items()})


Method = Callable[[Seen], dict[str, Floats]]


def _method(candidate: Any, body: Body, seen: Seen) -> dict[str, Floats]:
    """CIELAB of each band by one way of correcting and one of choosing the body of the hair."""
    correct = candidate(seen.card, seen.card.kind.reference(None, None))
    return {name: linear_to_lab(body(correct(linear), usable)) for name, (linear, usable) in seen.bands.items()}


def methods(kind: str) -> dict[str, Method]:
    """Every candidate for a kind of card: corrections with the program's own choice of pixels, then the reverse."""
    found: dict[str, Method] = {name: partial(_method, each, trimmed) for name, each in CANDIDATES[kind].items()}
    return found | {f"body: {name}": partial(_method, own, each) for name, each in BODIES.items()}


Errors = dict[tuple[str, str, str], list[tuple[float, ...]]]


def _one_head(job: tuple[Condition, str, int]) -> Errors:
    """Errors by (kind, method, pool)."""
    condition, pool, head = job
    errors: Errors = {}
    for kind in KINDS:
        printed = misprints(condition, kind, head)
        for (lamp, camera), misprint in zip(kits(condition)[head], printed, strict=True):
            shots = [Shot(condition, kind, head, role, lamp, camera, misprint) for role in (BEFORE, AFTER)]
            seen = [see(shot) for shot in shots]
            if seen[0] is None or seen[1] is None:
                continue
            for name, method in methods(kind).items():
                labs, truths = [method(each) for each in seen if each is not None], [shot.truth for shot in shots]
                here = errors.setdefault((kind, name, pool), [])
                here += [(*_errors(labs, truths, region), camera) for region in REGIONS]
    return errors


def _errors(labs: list[dict[str, Floats]], truths: list[dict[str, Floats]], region: str) -> tuple[float, ...]:
    """ΔE00 before and after, size of the error of lift and of warmth change."""
    (first, second), (true, then) = [lab[region] for lab in labs], [truth[region] for truth in truths]
    level, warmth = (lambda lab: DEFAULT_SCALE.level(float(lab[0]))), warmth_value
    lift = level(second) - level(first) - level(then) + level(true)
    warmer = warmth(second) - warmth(first) - warmth(then) + warmth(true)
    sizes = float(delta_e_2000(first, true)), float(delta_e_2000(second, then))
    return *sizes, abs(lift), abs(warmer)


def run(processes: int = 2, heads: Iterable[int] = range(len(HEADS))) -> Errors:
    """All candidates on all pools."""
    by_name = {condition.name: condition for condition in CONDITIONS}
    jobs = [(by_name[name], pool, head) for head in heads for pool, names in POOLS.items() for name in names]
    total: Errors = {}
    with get_context("fork").Pool(processes) as pool_of:
        for found in pool_of.imap_unordered(_one_head, jobs, chunksize=2):
            for key, values in found.items():
                total.setdefault(key, []).extend(values)
    return total


def figures(errors: Errors) -> list[dict[str, Any]]:
    """Median and 90th percentile of ΔE00 in each pool; over all pools alike ΔE00, lift and warmth change too."""
    found = []
    for kind, name in dict.fromkeys((kind, name) for kind, name, _ in errors):
        pools = {pool: np.array(errors[kind, name, pool]) for pool in POOLS if (kind, name, pool) in errors}
        row: dict[str, Any] = {"kind": kind, "method": name}
        for pool, values in pools.items():
            row[pool] = [float(q) for q in np.quantile(values[:, :2], [0.5, 0.9])]
        every = np.concatenate(list(pools.values()))
        row["all"] = [float(np.mean([row[pool][k] for pool in pools])) for k in (0, 1)]
        for camera in np.unique(every[:, 4]):
            here = every[every[:, 4] == camera, :2]
            row[f"camera {camera:.0f}"] = [float(q) for q in np.quantile(here, [0.5, 0.9])]
        row["lift"] = [float(q) for q in np.quantile(every[:, 2], [0.5, 0.9])]
        row["warmth change"] = [float(q) for q in np.quantile(every[:, 3], [0.5, 0.9])]
        found.append(row)
    order = {kind: place for place, kind in enumerate(KINDS)}
    return sorted(found, key=lambda row: (order[row["kind"]], row["all"][0] + row["all"][1]))


def tables(found: list[dict[str, Any]]) -> str:
    """One table for each kind of card, best first."""
    columns = [*POOLS, "all", "camera 1", "camera 2", "camera 3", "lift", "warmth change"]
    parts = []
    for kind in dict.fromkeys(row["kind"] for row in found):
        rows = [[f"{kind}: dE00 median, 90th percentile", *columns]]
        rows += [
            [row["method"], *("{:.2f} {:.2f}".format(*row[column]) if column in row else "-" for column in columns)]
            for row in found
            if row["kind"] == kind
        ]
        parts.append(table(rows))
    return "\n\n".join(parts)
