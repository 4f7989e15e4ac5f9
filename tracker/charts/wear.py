"""How one service wears, as a picture."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np

from tracker.charts.marks import (
    COVERAGE,
    DARK,
    LIGHT,
    Array,
    Axes,
    Greys,
    Spec,
    band,
    chart,
    labels,
    line,
    padded,
    rows,
)
from tracker.fade import FadeFit, FadeSeries
from tracker.quantities import Measured
from tracker.uncertainty import format_measured, format_number

_HEX = re.compile(r"#[0-9a-fA-F]{6}")
_NAMES = ("best guess", "80 % sure", "95 % sure")
_NO_COLOUR = "#808080"
_AHEAD = 1.25  # how far the curve runs on after the last reading


def fade_chart(
    series: FadeSeries,
    fit: FadeFit,
    *,
    title: str,
    y_title: str,
    dark: bool,
    services: Sequence[float] = (),
    swatches: Sequence[str] = (),
) -> tuple[Spec, str]:
    """Readings of one service's wear, the curve through them and how sure it is.

    Parameters
    ----------
    series, fit : the readings, and the curve fitted to them
    title : str, the finding
    y_title : str, the quantity with its unit
    dark : bool, theme of the page
    services : months at which a colour service was done, marked by a line
    swatches : measured colour of each reading, ``#rrggbb``; none leaves them grey

    Returns
    -------
    (spec, text) : Vega-Lite dictionary as wide as its container, and words for people who do not see it

    Raises
    ------
    ValueError : where there is not one well-formed swatch per reading
    """
    if swatches and (len(swatches) != len(series) or not all(map(_HEX.fullmatch, swatches))):
        raise ValueError("swatches need one #rrggbb colour per reading")
    greys = DARK if dark else LIGHT
    end = max(1.0, _AHEAD * max([series.months[-1], *services]))
    months = np.linspace(0.0, end, 121)
    median, inner, outer = fit.quantile(months, 0.5), fit.band(months, 0.80), fit.band(months, 0.95)
    axes = Axes(_months(end), _value_range(series, outer), y_title, lift=28 if services else 10)
    layers = [
        band(months, *outer, axes, greys, 0.18),
        band(months, *inner, axes, greys, 0.30),
        line(months, median, axes, greys),
        *_services(services, axes, greys),
        *_readings(series, swatches or [_NO_COLOUR] * len(series), axes, greys),
        labels(dict(zip(_NAMES, (median[-1], inner[1][-1], outer[1][-1]), strict=True)), axes, greys),
    ]
    return chart(title, layers, greys), _words(title, y_title, series, fit, end, services)


def _months(end: float) -> Spec:
    axis = {"grid": False, "values": list(range(0, math.floor(end) + 1, math.ceil(end / 6))), "format": "d"}
    # the readings of month 0 need room for half a dot
    scale = {"domain": [-0.04 * end, end], "nice": False}
    return {"field": "along", "type": "quantitative", "title": "months since the service", "scale": scale, "axis": axis}


def _value_range(series: FadeSeries, outer: tuple[Array, Array]) -> tuple[float, float]:
    """All readings with their bars, and as much of the band as leaves them a third of the height."""
    reach = COVERAGE * np.asarray(series.u)
    bottom, top = float(np.min(series.values - reach)), float(np.max(series.values + reach))
    span = top - bottom
    return padded(max(float(outer[0].min()), bottom - span), min(float(outer[1].max()), top + span), bottom, top)


def _readings(series: FadeSeries, swatches: Sequence[str], axes: Axes, greys: Greys) -> list[Spec]:
    """A bar and a dot per reading; the dot has the measured colour, and a rim that shows it on any ground."""
    values, reach = np.asarray(series.values), COVERAGE * np.asarray(series.u)
    said = [format_measured(Measured(value, u)) for value, u in zip(series.values, series.u, strict=True)]
    numbers = rows(along=series.months, value=values, low=values - reach, high=values + reach)
    data = [
        {**row, "colour": swatch, "reading": reading}
        for row, swatch, reading in zip(numbers, swatches, said, strict=True)
    ]
    tooltip = [
        {"field": "along", "type": "quantitative", "title": "months", "format": ".1f"},
        {"field": "reading", "type": "nominal", "title": axes.title},
    ]
    bar = {
        "mark": {"type": "rule", "color": greys.ink, "strokeWidth": 1.5},
        "encoding": {"x": axes.along, "y": axes.value("low"), "y2": {"field": "high"}},
    }
    dot = {
        "mark": {"type": "point", "filled": True, "size": 190, "stroke": greys.ink, "strokeWidth": 1.5, "opacity": 1},
        "encoding": {
            "x": axes.along,
            "y": axes.value("value"),
            "fill": {"field": "colour", "type": "nominal", "scale": None},
            "tooltip": tooltip,
        },
    }
    return [{"data": {"values": data}, **layer} for layer in (bar, dot)]


def _services(services: Sequence[float], axes: Axes, greys: Greys) -> list[Spec]:
    """A dotted line per service, the word above the plot where nothing can cover it."""
    data = {"values": rows(along=services)}
    rule = {"mark": {"type": "rule", "strokeDash": [2, 3], "color": greys.label}, "encoding": {"x": axes.along}}
    word: Spec = {"type": "text", "text": "service", "fontSize": 13, "color": greys.label}
    word |= {"align": "left", "baseline": "bottom", "dx": -3, "dy": -4}
    name = {"mark": word, "encoding": {"x": axes.along, "y": {"value": 0}}}
    return [{"data": data, **layer} for layer in (rule, name)] if services else []


def _words(title: str, y_title: str, series: FadeSeries, fit: FadeFit, end: float, services: Sequence[float]) -> str:
    readings = "; ".join(
        f"{format_measured(Measured(value, u))} at {month:.1f}"
        for month, value, u in zip(series.months, series.values, series.u, strict=True)
    )
    low, high = (float(edge) for edge in fit.band(end, 0.95))
    parts = [
        f"{title.rstrip('.')}.",
        f"{y_title} by months since the service, with 95 % intervals: {readings}.",
        f"At {end:.1f} months the curve is at {format_number(float(fit.quantile(end, 0.5)))}, "
        f"95 % between {format_number(low)} and {format_number(high)}.",
        f"Services at {', '.join(f'{month:.1f}' for month in services)} months." if services else "",
        fit.refusal or "",
    ]
    return " ".join(part for part in parts if part)
