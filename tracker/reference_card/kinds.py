"""Kinds of reference card: where their patches are and what they reflect.

A card's corners run clockwise from its own top left. Patches are boxes in the card's unit square.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tracker.colorimetry import D65, XYZ_TO_RGB, Floats, adapt, luminance
from tracker.reading import Point

Corners = tuple[Point, Point, Point, Point]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class CardKind:
    """A reference card: where its patches are and what they reflect.

    Attributes
    ----------
    name : str, used in files
    title, description : str, shown to the person
    boxes : (left, top, right, bottom) of each patch in the unit square
    grey : int, index of the patch that fixes the balance
    reflectance : float, nominal reflectance of that patch, 0..1
    tolerance : float, relative half width of what the maker's grey may differ from it
    """

    name: str
    title: str
    description: str
    boxes: tuple[Box, ...]
    grey: int
    reflectance: float
    tolerance: float


def _grid(columns: int, rows: int) -> tuple[Box, ...]:
    return tuple(
        (c / columns, r / rows, (c + 1) / columns, (r + 1) / rows) for r in range(rows) for c in range(columns)
    )


# No standard gives a tolerance for grey cards; 5 % of the reflectance either way is a weak choice of our own
CARD_KINDS = {
    kind.name: kind
    for kind in (
        CardKind("grey18", "Plain 18 % grey card", "One even grey, any size.", _grid(1, 1), 0, 0.18, 0.05),
        CardKind(
            "steps3",
            "Three-step strip",
            "White, grey and black in equal thirds. Also undoes the camera's contrast.",
            _grid(1, 3),
            1,
            0.18,
            0.05,
        ),
        CardKind(
            "chart24",
            "24-patch chart",
            "Six columns, four rows, greys in the bottom row. The most exact.",
            _grid(6, 4),
            21,
            0.1906,
            0.02,
        ),
    )
}

STEP_REFLECTANCES = (0.90, 0.18, 0.035)
"""Nominal reflectances of the three-step strip: common practice, no source."""


@lru_cache(maxsize=1)
def chart_reference() -> Floats:
    """Linear sRGB-primaries values of the 24 patches under D65, shape (24, 3).

    From colour-science's data set "ColorChecker24 - After November 2014" (2 degree observer, ICC D50),
    adapted to D65 by Bradford.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns about its optional plotting library
        import colour  # imported late: takes most of a second

        chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
        xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
        white = colour.xy_to_XYZ(chart.illuminant)
    return np.asarray(adapt(xyz, white, D65) @ XYZ_TO_RGB.T)


def reference_values(kind: CardKind, reflectance: float | None = None) -> Floats:
    """Linear values that the patches have under the standard white, shape (n, 3).

    Parameters
    ----------
    reflectance : float or None, the balancing grey's own reflectance where the studio knows it, 0..1
    """
    grey = kind.reflectance if reflectance is None else reflectance
    if kind.name == "chart24":
        values = chart_reference()
        scale = 1.0 if reflectance is None else reflectance / float(luminance(values[kind.grey]))
        return np.asarray(values * scale)
    if kind.name == "steps3":
        steps = np.array(STEP_REFLECTANCES) * np.array([1, grey / STEP_REFLECTANCES[1], 1])
        return np.repeat(steps[:, None], 3, axis=1)
    return np.full((1, 3), grey)
