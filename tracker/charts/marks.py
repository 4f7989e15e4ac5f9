"""The parts of every chart here: greys, bands, lines, and labels that never cover each other.

Greys only (equal red, green and blue), to keep measured colours the only colours on the page. Hue never tells things
apart.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import altair as alt
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Spec = dict[str, Any]

Drawn = tuple[Spec, str]
"""A chart: Vega-Lite as wide as its container, and words for people who do not see it."""

Row = dict[str, Any]
Channel = dict[str, Any]

BLANK = alt.Chart()
"""The base of every layer's marks."""

HEIGHT = 300
"""Height of the plot in pixels; the width is that of the container."""

COVERAGE = 1.96
"""Half width of a 95 % bar, in standard uncertainties assumed known."""

_FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
_TITLE_LETTERS = 80  # fits a chart drawn as a file; on a page the title is above the chart and wraps by itself
_LABEL_GAP = 17.0  # pixels between the middles of two labels
_LABEL_ROOM = 130  # pixels at most to the right of the plot; a longer name is cut


class Layer(NamedTuple):
    """Numbers and how they look. The numbers stay outside Altair, which would copy and check each of them many times.

    Attributes
    ----------
    numbers : a row for each thing drawn
    look : `altair.Chart`, a mark and its channels, without data
    """

    numbers: Sequence[Row]
    look: Any


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
    """Both channels of a chart, shared by its layers and drawn once.

    Attributes
    ----------
    along : from `horizontal`
    domain : lowest and highest value of the plot
    title : str, the quantity with its unit
    lift : float, pixels between the plot and that title
    """

    along: Channel
    domain: tuple[float, float]
    title: str
    lift: float = 10.0

    def x(self, field: str = "along") -> alt.X:
        """The horizontal channel of a field."""
        return alt.X(field=field, type="quantitative", **self.along)

    def y(self, field: str = "value") -> alt.Y:
        """The vertical channel of a field; the same axis in every layer, or none would be drawn.

        The title is above the axis: easier to read than a vertical one, and it takes no width on a phone.
        """
        place = {"titleAngle": 0, "titleAlign": "left", "titleAnchor": "end", "titleX": 0, "titleY": -self.lift}
        axis = alt.Axis(titleBaseline="bottom", tickCount=5, domain=False, ticks=False, labelPadding=6, **place)
        scale = alt.Scale(domain=list(self.domain), nice=False, zero=False)
        return alt.Y(field=field, type="quantitative", title=self.title, scale=scale, axis=axis)


def horizontal(title: str, low: float, high: float, **axis: Any) -> Channel:
    """The horizontal channel of a chart, from `low` to `high`; `axis` is for `altair.Axis`."""
    scale = alt.Scale(domain=[low, high], nice=False, zero=False)
    return {"title": title, "scale": scale, "axis": alt.Axis(grid=False, **axis)}


def band(along: ArrayLike, low: ArrayLike, high: ArrayLike, axes: Axes, greys: Greys, opacity: float) -> Layer:
    """The area between two curves."""
    area = BLANK.mark_area(color=greys.band, opacity=opacity, clip=True, tooltip=None)
    return Layer(rows(along=along, low=low, high=high), area.encode(axes.x(), axes.y("low"), y2=alt.Y2("high")))


def line(along: ArrayLike, value: ArrayLike, axes: Axes, greys: Greys, dash: Sequence[int] = ()) -> Layer:
    """A curve, whole or dashed."""
    curve = BLANK.mark_line(color=greys.ink, strokeWidth=2, clip=True, strokeDash=list(dash) or [1, 0])
    return Layer(rows(along=along, value=value), curve.encode(axes.x(), axes.y()))


def readings(numbers: Sequence[Row], axes: Axes, greys: Greys, **more: Any) -> list[Layer]:
    """A bar from ``low`` to ``high`` and a dot at ``value`` for each row; `more` are channels of the dot.

    The dot has the row's ``colour``, and a rim that shows on any background.
    """
    bar = BLANK.mark_rule(color=greys.ink, strokeWidth=1.5).encode(axes.x(), axes.y("low"), y2=alt.Y2("high"))
    dot = BLANK.mark_point(filled=True, size=190, stroke=greys.ink, strokeWidth=1.5, opacity=1)
    dot = dot.encode(axes.x(), axes.y(), fill=alt.Fill("colour:N", scale=None), **more)
    return [Layer(numbers, bar), Layer(numbers, dot)]


def labels(ends: Mapping[str, float], axes: Axes, greys: Greys) -> Layer:
    """Names at the right edge, beside the ends of their lines."""
    low, high = axes.domain
    pixels = [HEIGHT * (high - value) / (high - low) for value in ends.values()]
    places = np.array(spread_labels(pixels, _LABEL_GAP, 0.0, float(HEIGHT)))
    heights = rows(place=high - places * (high - low) / HEIGHT)
    names = [{"name": name, **row} for name, row in zip(ends, heights, strict=True)]
    text = BLANK.mark_text(align="left", baseline="middle", dx=6, fontSize=13, color=greys.ink, limit=_LABEL_ROOM)
    return Layer(names, text.encode(x=alt.value("width"), y=axes.y("place"), text=alt.Text("name:N")))


def chart(title: str, layers: Sequence[Layer], greys: Greys) -> Spec:
    """The layers under a title, as wide as their container."""
    lines = textwrap.wrap(title, _TITLE_LETTERS, break_on_hyphens=False) or [""]
    letters = {"labelColor": greys.label, "titleColor": greys.label, "labelFontSize": 13, "titleFontSize": 13}
    rules = {"tickColor": greys.grid, "domainColor": greys.grid, "gridColor": greys.grid}
    axis = alt.AxisConfig(**letters, **rules, titleFontWeight="normal")
    look = {"fontSize": 16, "fontWeight": 600, "lineHeight": 20, "offset": 12, "color": greys.ink}
    whole = alt.LayerChart(
        layer=[layer.look for layer in layers],
        title=alt.TitleParams(lines, anchor="start", frame="bounds", **look),
        width="container",
        height=HEIGHT,
        background="transparent",
        autosize=alt.AutoSizeParams(type="fit-x", contains="padding"),
        padding=3,
        config=alt.Config(font=_FONT, view=alt.ViewConfig(stroke=None), axis=axis),
    )
    spec: Spec = whole.to_dict()
    spec.pop("datasets", None)  # an empty one, for layers without numbers
    for drawn, layer in zip(spec["layer"], layers, strict=True):
        drawn["data"] = {"values": list(layer.numbers)}
    return spec


def rows(**columns: ArrayLike) -> list[Row]:
    """Columns of numbers as a list of records with plain floats."""
    plain = [np.asarray(column, dtype=np.float64).tolist() for column in columns.values()]
    return [dict(zip(columns, row, strict=True)) for row in zip(*plain, strict=True)]


def padded(*values: float) -> tuple[float, float]:
    """Lowest and highest value with some room around them."""
    bottom, top = min(values), max(values)
    air = max(0.06 * (top - bottom), 0.05)
    return bottom - air, top + air


def spread_labels(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Positions near the wanted ones, in the same order, at least `gap` apart and within the range.

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
    # labels past the end are pushed back as far as the others leave room
    ceiling = max(high, low + gap * (len(places) - 1))
    for index in reversed(range(len(places))):
        places[index] = min(places[index], ceiling)
        ceiling = places[index] - gap
    return [places[order.index(index)] for index in range(len(wanted))]
