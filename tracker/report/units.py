"""Units of the numbers in the record, by the name of their field.

Measured values carry their own unit and are not listed here. A new field goes out without a unit until it is listed; a
test names it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

UNITS = {
    "minutes": "min",
    "grams": "g",
    "ounces": "oz",
    "waste": "%",
    "pack_size": "in the unit of the pack",
    "quantity": "in the unit of the pack",
    "price": "of one pack, in the currency named",
    "photos": "photos combined",
    "stretches": "L*, from the darkest to the lightest, root first",
    "size_mm": "mm, width and height",
    "size": "px, width and height",
    "corners": "px, x and y",
    "path": "px, x and y from root to tip",
    "width": "px",
    "reflectance": "0 to 1",
    "pixels": "pixels averaged",
    "kit_u": "standard uncertainty of lights, lows and dimension (L*) and of lightened (share)",
    "gradient": "EV across the card",
    "clipped": "share, 0 to 1",
    "gloss": "share, 0 to 1",
    "shadow": "share, 0 to 1",
    "not_hair": "share, 0 to 1",
    "outside": "share, 0 to 1",
    "gains": "factor on linear light, red green blue",
    "flare": "share of perfect white",
    "exponent": "power of linear light",
    "misfit": "CIELAB units (L*, a*, b*), root mean square",
    "matrix": "factor, linear RGB to linear RGB",
    "repeat_cov": "CIELAB squared",
    "light_cov": "CIELAB squared",
    "position": "0 root to 1 tip",
    "lab": "CIELAB L*, a*, b* (D65, 2 degrees)",
    "u_lightness": "L*, standard uncertainty",
    "sd": "L*, a*, b*",
    "shared": "L*, a*, b*",
    "shared_dof": "degrees of freedom",
    "labs": "CIELAB L*, a*, b* of each band (D65, 2 degrees)",
    "knots": "L*, a*, b*",
    "own": "L*, from and to",
    "u_dark": "CIELAB units, standard uncertainty",
    "u_own": "CIELAB units, standard uncertainty",
    "level": "level, 1 to 10",
    "warmer": "CIELAB units of warmth above what it was right after the service",
    "darkest": "level, 1 to 10",
    "lightest": "level, 1 to 10",
    "root_mm": "mm",
    "washes_per_week": "washes a week",
    "floor": "L*",
    "span": "L*",
    "rate": "per level",
    "span_levels": "level, from and to",
    "revision": "count of saved changes",
    "step": "step of the page, from 0",
}
"""Unit of each plain number; words where there is no unit in the strict sense."""


def units_in(value: Any) -> dict[str, str]:
    """Units of all fields that occur in a JSON value, by name.

    Parameters
    ----------
    value : what `json.loads` gives

    Returns
    -------
    dict : field to unit, sorted by field
    """
    return {name: UNITS[name] for name in sorted(set(_names(value))) if name in UNITS}


def _names(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for name, inner in value.items():
            yield name
            yield from _names(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _names(inner)
