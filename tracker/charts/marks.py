"""What every chart here is made of: greys, bands, lines, and labels that never cover each other.

Greys only (equal red, green and blue), so that the measured colours are the only colour on the page. Nothing is
told apart by hue.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Spec = dict[str, Any]

HEIGHT = 300
"""Height of the plot in pixels; the width is that of the container."""

COVERAGE = 1.96
"""Half width of a 95 % bar in standard uncertainties that are taken as known."""

_SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
_FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
_TITLE_LETTERS = 80  # fits a chart drawn as a file; on a page the title stands above the chart and wraps by itself
_LABEL_GAP = 17.0  # pixels between the middles of two labels
_LABEL_ROOM = 110  # pixels at most to the right of the plot; a longer name is cut


@dataclass(frozen=True, slots=True)
class Greys:
    """Greys of one theme, ``#rrggbb`` with three equal parts."""

    ink: str
    label: str
    grid: str
    band: str


LIGHT = Greys(ink="#2b2b2b", label="#565656", grid="#e0e0e0", band="#808080")
DARK = Greys(ink="#ececec", label="#b4b4b4", grid="#3d3d3d", band="#cfcfcf")


@dataclass(frozen=True, slots=True)
class Axes:
    """Both channels of a chart, shared by its layers so that they are drawn once.

    Attributes
    ----------
    along : Vega-Lite x channel, field ``along``
    domain : lowest and highest value of the plot
    title : str, what the values are, with the unit
    lift : float, pixels between the plot and that title
    """

    along: Spec
    domain: tuple[float, float]
    title: str
    lift: float = 10.0

    def value(self, field: str) -> Spec:
        """Vega-Lite y channel of a field; the same axis in every layer, or none would be drawn.

        The title lies above the axis: easier to read than a standing one, and it leaves a phone its width.
        """
        scale = {"domain": list(self.domain), "nice": False, "zero": False}
        axis: Spec = {"titleAngle": 0, "titleAlign": "left", "titleAnchor": "end", "titleX": 0, "titleY": -self.lift}
        axis |= {"titleBaseline": "bottom", "tickCount": 5, "domain": False, "ticks": False, "labelPadding": 6}
        return {"field": field, "type": "quantitative", "title": self.title, "scale": scale, "axis": axis}


def band(along: ArrayLike, low: ArrayLike, high: ArrayLike, axes: Axes, greys: Greys, opacity: float) -> Spec:
    """The area between two curves."""
    encoding = {"x": axes.along, "y": axes.value("low"), "y2": {"field": "high"}}
    mark = {"type": "area", "color": greys.band, "opacity": opacity, "clip": True, "tooltip": None}
    return {"data": {"values": rows(along=along, low=low, high=high)}, "mark": mark, "encoding": encoding}


def line(along: ArrayLike, value: ArrayLike, axes: Axes, greys: Greys, dash: Sequence[int] = ()) -> Spec:
    """A curve, whole or dashed."""
    encoding = {"x": axes.along, "y": axes.value("value")}
    mark = {"type": "line", "color": greys.ink, "strokeWidth": 2, "clip": True, "strokeDash": list(dash) or [1, 0]}
    return {"data": {"values": rows(along=along, value=value)}, "mark": mark, "encoding": encoding}


def labels(ends: Mapping[str, float], axes: Axes, greys: Greys) -> Spec:
    """Names at the right edge, beside the ends of what they name."""
    low, high = axes.domain
    pixels = [HEIGHT * (high - value) / (high - low) for value in ends.values()]
    places = np.array(spread_labels(pixels, _LABEL_GAP, 0.0, float(HEIGHT)))
    heights = rows(place=high - places * (high - low) / HEIGHT)
    data = [{"name": name, **row} for name, row in zip(ends, heights, strict=True)]
    mark = {"type": "text", "align": "left", "baseline": "middle", "dx": 6, "fontSize": 13, "color": greys.ink}
    encoding = {"x": {"value": "width"}, "y": axes.value("place"), "text": {"field": "name", "type": "nominal"}}
    return {"data": {"values": data}, "mark": {**mark, "limit": _LABEL_ROOM}, "encoding": encoding}


def chart(title: str, layers: Sequence[Spec], greys: Greys) -> Spec:
    """The layers under a title, as wide as their container."""
    lines = textwrap.wrap(title, _TITLE_LETTERS, break_on_hyphens=False) or [""]
    axis: Spec = {
        "labelColor": greys.label,
        "titleColor": greys.label,
        "tickColor": greys.grid,
        "domainColor": greys.grid,
    }
    axis |= {"gridColor": greys.grid, "labelFontSize": 13, "titleFontSize": 13, "titleFontWeight": "normal"}
    heading: Spec = {"text": lines, "anchor": "start", "frame": "bounds"}
    heading |= {"fontSize": 16, "fontWeight": 600, "lineHeight": 20, "offset": 12, "color": greys.ink}
    return {
        "$schema": _SCHEMA,
        "background": "transparent",
        "width": "container",
        "height": HEIGHT,
        "autosize": {"type": "fit-x", "contains": "padding"},
        "padding": 3,
        "title": heading,
        "layer": list(layers),
        "config": {"font": _FONT, "view": {"stroke": None}, "axis": axis},
    }


def rows(**columns: ArrayLike) -> list[Spec]:
    """Columns of numbers as a list of records with plain floats."""
    plain = [np.asarray(column, dtype=np.float64).tolist() for column in columns.values()]
    return [dict(zip(columns, row, strict=True)) for row in zip(*plain, strict=True)]


def padded(*values: float) -> tuple[float, float]:
    """Lowest and highest value with some air around them."""
    bottom, top = min(values), max(values)
    air = max(0.06 * (top - bottom), 0.05)
    return bottom - air, top + air


def spread_labels(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places near the wanted ones, in the same order, at least `gap` apart and inside the range.

    Parameters
    ----------
    wanted : places, pixels
    gap : float, pixels
    low, high : float, pixels; labels that do not all fit run over `high`

    Returns
    -------
    list : one place per wanted place
    """
    order = sorted(range(len(wanted)), key=lambda index: wanted[index])
    places = [min(max(wanted[index], low), high) for index in order]
    for upper, lower in pairwise(range(len(places))):
        places[lower] = max(places[lower], places[upper] + gap)
    # what ran over the end is pushed back as far as the others leave room
    ceiling = max(high, low + gap * (len(places) - 1))
    for index in reversed(range(len(places))):
        places[index] = min(places[index], ceiling)
        ceiling = places[index] - gap
    return [places[order.index(index)] for index in range(len(wanted))]
