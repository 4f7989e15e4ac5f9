"""Light carried from the card to the hair by a marked wall or a second grey: on simulated photos and rendered scenes.

The true colours of the rendered scenes count the light of the hair's place as the hair's own (their README), so an
error against them cannot tell whether that light was rightly taken away. What can: the same hair in photos of another
card place and light must come out alike, so the spread between those photos is shown beside the error.
"""

from __future__ import annotations

from collections.abc import Sequence
from multiprocessing import get_context
from typing import Any

import numpy as np

from tests.bench.conditions import AFTER, BEFORE, KINDS, ROOMS, Condition, kits
from tests.bench.corrections import CARRIED, own
from tests.bench.experiment import Seen, see_photo
from tests.bench.gloss import trimmed
from tests.bench.hair import HEADS
from tests.bench.photograph import PLACES, Shot, marks, take
from tests.bench.report import table
from tests.samples import SAMPLES, sample_photo
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.maths.colorimetry import Floats, delta_e_2000, linear_to_lab
from tracker.measure.reading import REGIONS, Marks
from tracker.photo import Photo, read_photo

Box = tuple[int, int, int, int]
_HIGH_WALL: Box = (215, 60, 90, 60)  # of the rendered scenes: plain wall left of the crown
# the same hair at the same place of it: natural roots, and all of the lightened hair on its first day
ALIKE = {
    "Noor's root": ("noor", ("root",)),
    "Noor before": ("noor_before", REGIONS),
    "Noor after": ("noor_after", REGIONS),
}
Errors = dict[tuple[str, str], list[tuple[float, ...]]]
Labs = dict[str, dict[str, Floats]]


def labs(seen: Seen, photo: Photo, boxes: dict[str, Box]) -> Labs:
    """CIELAB of each band by each way of carrying the light."""
    correct = own(seen.card, seen.card.kind.reference(None, None))
    places = {name: correct(_mean(photo, box)) for name, box in boxes.items()}
    bodies = {name: trimmed(correct(linear), usable) for name, (linear, usable) in seen.bands.items()}
    # a card that is not in the picture cannot be carried from
    ways = {name: carry for name, carry in CARRIED.items() if "second" not in name or "second grey" in places}
    return {way: {name: linear_to_lab(body * carry(places)) for name, body in bodies.items()}
            for way, carry in ways.items()}  # fmt: skip


def _mean(photo: Photo, box: Box) -> Floats:
    x, y, w, h = box
    codes = photo.encoded[y + h // 6 : y + h - h // 6, x + w // 6 : x + w - w // 6]
    return np.asarray(photo.space.linear(codes).reshape(-1, 3).mean(axis=0), float)


def _one_head(job: tuple[Condition, int]) -> Errors:
    """Error of L*, ΔE00, and error of lift in one condition with one head, by (way, condition)."""
    condition, head = job
    errors: Errors = {}
    for kind in KINDS:
        for lamp, camera in kits(condition)[head]:
            shots = [Shot(condition, kind, head, role, lamp, camera) for role in (BEFORE, AFTER)]
            photos = [read_photo(take(shot)) for shot in shots]
            seen = [see_photo(photo, marks(kind)) for photo in photos]
            if seen[0] is None or seen[1] is None:
                continue
            found = [labs(each, photo, PLACES) for each, photo in zip(seen, photos, strict=True) if each is not None]
            for way in found[0]:
                here = errors.setdefault((way, condition.name), [])
                here += [_errors([lab[way][n] for lab in found], [s.truth[n] for s in shots]) for n in REGIONS]
    return errors


def _errors(seen: Sequence[Floats], true: Sequence[Floats]) -> tuple[float, ...]:
    """Size of the error of L* before and after, ΔE00 before and after, size of the error of lift."""
    light = [abs(float(lab[0] - goal[0])) for lab, goal in zip(seen, true, strict=True)]
    size = [float(delta_e_2000(lab, goal)) for lab, goal in zip(seen, true, strict=True)]
    lifts = [DEFAULT_SCALE.level(float(pair[1][0])) - DEFAULT_SCALE.level(float(pair[0][0])) for pair in (seen, true)]
    return *light, *size, abs(lifts[0] - lifts[1])


def run(processes: int = 2) -> list[dict[str, Any]]:
    """Median and 90th percentile of all errors in each condition, cards of all kinds together."""
    total: Errors = {}
    with get_context("fork").Pool(processes) as pool:
        jobs = [(condition, head) for condition in ROOMS for head in range(len(HEADS))]
        for found in pool.imap_unordered(_one_head, jobs, chunksize=2):
            for key, values in found.items():
                total.setdefault(key, []).extend(values)
    return [_row(name, way, np.array(total[way, name])) for name in (c.name for c in ROOMS) for way in CARRIED]


def _row(where: str, way: str, errors: Floats) -> dict[str, Any]:
    columns = {"L*": errors[:, :2], "dE00": errors[:, 2:4], "lift": errors[:, 4:]}
    quantiles = {name: [float(q) for q in np.quantile(v, [0.5, 0.9])] for name, v in columns.items() if v.size}
    return {"condition": where, "method": way, **quantiles}


def rendered() -> list[dict[str, Any]]:
    """The rendered scenes: errors to their truth, and the spread of L* of the same hair between photos."""
    found: dict[tuple[str, str], Labs] = {}
    true: Labs = {}
    for entry in SAMPLES:
        name, photo = entry["file"].removesuffix(".jpg"), read_photo(sample_photo(entry["file"]).read_bytes())
        corners, path = (tuple((float(x), float(y)) for x, y in points)
                         for points in (entry["card"]["corners"], entry["path"]))  # fmt: skip
        seen = see_photo(photo, Marks(entry["card"]["kind"], corners, path, entry["width"]))  # type: ignore[arg-type]
        assert seen is not None
        beside, between = _walls(np.array(corners))
        for where, wall in (("between", between), ("crown", _HIGH_WALL)):
            found[where, name] = labs(seen, photo, {"wall by hair": wall, "wall by card": beside})
        true[name] = {region: np.array(entry["regions"][region]["lab"]) for region in REGIONS}
    rows = []
    for where in ("between", "crown"):
        for way in next(iter(found.values())):
            here = {name: found[where, name][way] for name in true}
            rows.append(_rendered_row(f"rendered, wall marked {where}", way, here, true))
    return [*rows, {"condition": "rendered", "method": "their truth", **_spreads(true)}]


def _rendered_row(where: str, way: str, here: Labs, true: Labs) -> dict[str, Any]:
    errors = [_errors((here[n][r],) * 2, (true[n][r],) * 2) for n in here for r in REGIONS]
    pairs = [(f"noor_before_{light}", f"noor_after_{light}") for light in ("daylight", "lamp")]
    lifts = [_errors([here[n][r] for n in pair], [true[n][r] for n in pair])[4] for pair in pairs for r in REGIONS]
    row = _row(where, way, np.array(errors)[:, :4])
    return row | {"lift": [float(q) for q in np.quantile(lifts, [0.5, 0.9])]} | _spreads(here)


def _walls(corners: Floats) -> tuple[Box, Box]:
    """Plain wall right of the card, and left of it in the gap to the hair."""
    (left, _), (right, _) = np.rint(corners.min(axis=0)), np.rint(corners.max(axis=0))
    top = round(corners[:, 1].mean()) - 70
    return (int(right) + 12, top, min(90, 1044 - int(right)), 140), (int(left) - 36, top, 28, 140)


def _spreads(by_photo: Labs) -> dict[str, Any]:
    return {name: _spread(by_photo, *alike) for name, alike in ALIKE.items()}


def _spread(by_photo: Labs, photos: str, regions: Sequence[str]) -> float:
    """Standard deviation of L* between photos of the same hair, over the regions."""
    light = [[lab[region][0] for region in regions] for name, lab in by_photo.items() if name.startswith(photos)]
    return float(np.sqrt(np.var(light, axis=0, ddof=1).mean()))


def tables(found: list[dict[str, Any]]) -> str:
    """All ways in all conditions, as text."""
    columns = ("L*", "dE00", "lift")
    rows = [["light carried to the hair: median, 90th percentile", "", *columns, *(f"sd L* {n}" for n in ALIKE)]]
    for row in found:
        cells = ["{:.2f} {:.2f}".format(*row[name]) if name in row else "-" for name in columns]
        spreads = [f"{row[name]:.2f}" if name in row else "" for name in ALIKE]
        rows.append([row["condition"], row["method"], *cells, *spreads])
    return table(rows)
