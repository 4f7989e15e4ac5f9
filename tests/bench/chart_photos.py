"""The published chart photos (``tests/golden/chart_photos.csv``) through the same candidates.

Grey: balanced on neutral 5, judged on the other patches. Strip: white, neutral 5 and black of the chart as its three
steps, judged on the other patches. Chart: patches left out in turn (six folds), judged where they were left out.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from tests.bench.corrections import CANDIDATES, Candidate
from tests.bench.report import table
from tests.golden_tables import read_table
from tracker.maths.colorimetry import Floats, delta_e_2000, linear_to_lab
from tracker.maths.rgb_space import SRGB
from tracker.measure.reference_card import CARD_KINDS, CardReading
from tracker.measure.reference_card.kinds.chart24 import chart_reference

NEUTRAL_5 = 21
STEPS = (18, 21, 23)
# dark skin, light skin, moderate red and the two darkest greys: as near to hair as a chart goes
NEAR_HAIR = (0, 1, 8, 22, 23)
_CORNERS = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))


def photos() -> dict[str, Floats]:
    """Linear values of the 24 patches in each photo."""
    rows: dict[str, list[list[float]]] = {}
    for row in read_table("chart_photos.csv"):
        rows.setdefault(row["photo"], []).append([float(row[c]) for c in ("red", "green", "blue")])
    return {name: SRGB.decode(np.array(values)) for name, values in rows.items()}


def reading(kind: str, linear: Floats) -> CardReading:
    """A card that reads these values, all of its patches usable."""
    covs = np.zeros((len(linear), 3, 3))
    return CardReading(CARD_KINDS[kind], _CORNERS, linear, covs, np.ones(len(linear), bool), 0.0, 0.0)


def errors(kind: str, candidate: Candidate, linear: Floats) -> Floats:
    """ΔE00 of each patch, not a number where it was used for the correction."""
    wanted = chart_reference()
    goal = linear_to_lab(wanted)
    found = np.full(24, np.nan)
    if kind == "chart24":
        for fold in range(6):
            left = np.arange(fold, 24, 6)
            left = left[left != NEUTRAL_5]
            usable = np.ones(24, bool)
            usable[left] = False
            correct = candidate(replace(reading(kind, linear), usable=usable), wanted)
            found[left] = delta_e_2000(linear_to_lab(correct(linear[left])), goal[left])
        return found
    used = (NEUTRAL_5,) if kind == "grey18" else STEPS
    # the candidates take neutral steps: the white patch's own tint is left to its luminance
    reference = np.repeat(wanted[list(used)].mean(axis=1)[:, None], 3, axis=1)
    correct = candidate(reading(kind, linear[list(used)]), reference)
    rest = [i for i in range(24) if i not in used]
    found[rest] = delta_e_2000(linear_to_lab(correct(linear[rest])), goal[rest])
    return found


def figures() -> list[dict[str, Any]]:
    """Mean and 90th percentile over all patches, and the mean near hair, for each candidate."""
    found = []
    for kind, candidates in CANDIDATES.items():
        for name, candidate in candidates.items():
            every = np.array([errors(kind, candidate, linear) for linear in photos().values()])
            found.append(
                {
                    "kind": kind,
                    "method": name,
                    "mean": float(np.nanmean(every)),
                    "90": float(np.nanquantile(every, 0.9)),
                    "near hair": float(np.nanmean(every[:, NEAR_HAIR])),
                }
            )
    return found


def tables(found: list[dict[str, Any]]) -> str:
    """All candidates on the published photos, as text."""
    rows = [["published chart photos: dE00", "card", "mean", "90th percentile", "mean near hair"]]
    rows += [[r["method"], r["kind"], *(f"{r[k]:.2f}" for k in ("mean", "90", "near hair"))] for r in found]
    return table(rows)
