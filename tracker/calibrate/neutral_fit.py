"""What counts as neutral in this studio, from its own swatches of hair that was never coloured.

Published hair gives the shape of the locus; the swatches shift it by an offset that is linear in lightness. The result
replaces published hair between the darkest and the lightest swatch, and blends into it within a few L* beyond them.

References
----------
[GUM]  JCGM 100:2008, H.3: a straight line through observations; 4.3: prior knowledge.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from tracker.calibrate.warmth import DEFAULT_LOCUS, JOIN, NeutralLocus
from tracker.errors import CannotCalibrate
from tracker.maths.quantities import LabMeasured

FEWEST = 3
LEAST_SPAN = 8.0
"""L* between the darkest and the lightest swatch, at least: a choice of our own."""

LARGEST_STEP = 12.0
"""CIELAB units by which natural hair may differ from published hair; more means coloured hair, or lamps. A choice of
our own, three times the largest difference between the published sources."""

_WORTH = 2.0  # swatches that the published uncertainty counts as, beside the scatter of the studio's own


def fit_locus(swatches: Sequence[tuple[str, LabMeasured]], name: str) -> NeutralLocus:
    """The neutral locus that fits these swatches.

    Parameters
    ----------
    swatches : name and colour of at least three swatches of natural hair
    name : str, shown beside every warmth

    Raises
    ------
    CannotCalibrate : too few, too close together, or one that is not natural hair
    """
    labs = np.array([lab.lab for _, lab in swatches], float).reshape(-1, 3)
    _require(swatches, labs)
    low, high = float(labs[:, 0].min()), float(labs[:, 0].max())
    published = DEFAULT_LOCUS.at(labs[:, 0])
    steps = labs[:, 1:] - published
    middle = labs[:, 0].mean()
    line = np.stack([np.ones(len(labs)), labs[:, 0] - middle], axis=1)
    coefficients, *_ = np.linalg.lstsq(line, steps, rcond=None)
    residuals = steps - line @ coefficients
    _require_close(swatches, steps, residuals)

    def neutral(lightness: float) -> tuple[float, float, float]:
        a, b = np.add(DEFAULT_LOCUS.at(lightness), np.array([1.0, lightness - middle]) @ coefficients)
        return lightness, float(a), float(b)

    inside = [knot[0] for knot in DEFAULT_LOCUS.knots if low + 1 < knot[0] < high - 1]
    # published hair takes over `JOIN` beyond the outer swatches, even where its own rows end sooner
    outside = [knot for knot in DEFAULT_LOCUS.knots if not low - JOIN - 1 < knot[0] < high + JOIN + 1]
    outside += [(lightness, *DEFAULT_LOCUS.at(lightness).tolist()) for lightness in (low - JOIN, high + JOIN)]
    knots = sorted([*outside, *(neutral(lightness) for lightness in (low, *inside, high))])
    along = DEFAULT_LOCUS.direction(labs[:, 0])
    off = np.einsum("ij,ij->i", residuals, along)
    squares = _WORTH * DEFAULT_LOCUS.u**2 + float(np.sum(off**2))
    scatter = math.sqrt(squares / (_WORTH + len(labs) - 2))
    return NeutralLocus(
        name,
        tuple(knots),
        DEFAULT_LOCUS.u,
        DEFAULT_LOCUS.u_dark,
        own=(low, high),
        u_own=scatter * math.sqrt(1 + 1 / len(labs)),
        source=f"Own natural hair: {len(labs)} swatches from L* {low:.0f} to {high:.0f}; beyond them published hair.",
    )


def _require(swatches: Sequence[tuple[str, LabMeasured]], labs: np.ndarray) -> None:
    if len(swatches) < FEWEST:
        raise CannotCalibrate(
            f"Neutral needs at least {FEWEST} swatches of natural hair; there {'is' if len(swatches) == 1 else 'are'} "
            f"{len(swatches)}.",
            f"Photograph {FEWEST - len(swatches)} more, from dark to light.",
            value=float(len(swatches)),
            limit=float(FEWEST),
            unit="swatches",
        )
    span = float(np.ptp(labs[:, 0]))
    if span < LEAST_SPAN:
        raise CannotCalibrate(
            f"The swatches lie within {span:.1f} L* of each other (at least {LEAST_SPAN:g}).",
            "Add a darker or a lighter one.",
            value=span,
            limit=LEAST_SPAN,
            unit="L*",
        )


def _require_close(swatches: Sequence[tuple[str, LabMeasured]], steps: np.ndarray, residuals: np.ndarray) -> None:
    for sizes, against in ((np.hypot(*steps.T), "published natural hair"), (np.hypot(*residuals.T), "the others")):
        worst = int(np.argmax(sizes))
        if sizes[worst] > LARGEST_STEP:
            raise CannotCalibrate(
                f"“{swatches[worst][0]}” lies {sizes[worst]:.1f} from {against} (limit {LARGEST_STEP:g}).",
                "Was it coloured, or photographed under lamps? Take it out, or photograph it again in daylight.",
                value=float(sizes[worst]),
                limit=LARGEST_STEP,
                unit="CIELAB units",
            )
