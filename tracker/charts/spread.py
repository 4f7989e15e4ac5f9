"""A picture of how much of the hair has each lightness, before and after."""

from __future__ import annotations

from collections.abc import Mapping

import altair as alt
import numpy as np

from tracker.charts import marks
from tracker.compare.lights_and_lows import Distribution, Shades
from tracker.maths.uncertainty import format_measured

_DASHES: tuple[tuple[int, ...], ...] = ((6, 4), ())
_APART = 8.0  # L*: names closer than this would cover each other


def spread_chart(
    distributions: Mapping[str, Distribution],
    shades: Mapping[str, Shades],
    dark: bool,
    *,
    title: str,
) -> marks.Drawn:
    """The distribution of lightness of one photo or of two.

    Parameters
    ----------
    distributions : by name, the earlier first, drawn dashed; all at the same values of L*
    shades : lights and lows by the same names, for the words
    dark : bool, theme of the page
    title : str, the finding

    Raises
    ------
    ValueError : without any distribution
    """
    if not distributions:
        raise ValueError("there is no distribution to draw")
    greys = marks.DARK if dark else marks.LIGHT
    top = max(float(each.high.max()) for each in distributions.values())
    axes = marks.Axes(_lightness(distributions), (0.0, 1.16 * top), "hair, % for each step of 1 L*")
    layers = []
    for dash, each in zip(_DASHES[-len(distributions) :], distributions.values(), strict=True):
        layers += [
            marks.band(each.lightness, each.low, each.high, axes, greys, 0.28),
            marks.line(each.lightness, each.share, axes, greys, dash),
        ]
    layers.append(_names(distributions, axes, greys))
    said = " ".join(_words(name if len(shades) > 1 else "", each) for name, each in shades.items())
    return marks.chart(title, layers, greys), f"{title.rstrip('.')}. {said} Bands hold 95 %."


def _lightness(distributions: Mapping[str, Distribution]) -> marks.Channel:
    """The horizontal channel: the part of the scale where there is any hair."""
    first = next(iter(distributions.values()))
    seen = np.max([each.high for each in distributions.values()], axis=0) > 0.05
    low, high = float(first.lightness[seen].min()), float(first.lightness[seen].max())
    return marks.horizontal("lightness, L* (0 black, 100 white)", low, high, tickCount=6, format="d")


def _names(distributions: Mapping[str, Distribution], axes: marks.Axes, greys: marks.Greys) -> marks.Layer:
    """Each name above its curve where that stands out most from the others; close names one above the other."""
    names: list[marks.Row] = []
    for name, each in distributions.items():
        others = [other.share for other in distributions.values() if other is not each]
        at = int(np.argmax(each.share - np.max(others or [np.zeros_like(each.share)], axis=0)))
        along, place = float(each.lightness[at]), float(each.high[at])
        for row in names:
            if abs(row["along"] - along) < _APART:
                place = max(place, row["place"] + 0.07 * axes.domain[1])
        names.append({"along": along, "place": min(place, 0.94 * axes.domain[1]), "name": name if others else ""})
    text = marks.BLANK.mark_text(baseline="bottom", dy=-4, fontSize=13, color=greys.ink)
    return marks.Layer(names, text.encode(axes.x(), axes.y("place"), text=alt.Text("name:N")))


def _words(name: str, shades: Shades) -> str:
    start = f"{name[:1].upper()}{name[1:]}: lights" if name else "Lights"
    lights, lows = format_measured(shades.lights), format_measured(shades.lows)
    return f"{start} L* {lights}, lows L* {lows}, apart by {format_measured(shades.dimension)}."
