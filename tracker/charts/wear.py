"""A picture of how one service wears."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import date, timedelta

import altair as alt
import numpy as np

from tracker.charts import marks
from tracker.fade import FadeFit, FadeSeries
from tracker.maths.quantities import Measured
from tracker.maths.uncertainty import format_measured, format_number
from tracker.said.wear import say_no_rate
from tracker.words import DAYS_PER_MONTH, day

_HEX = re.compile(r"#[0-9a-fA-F]{6}")
_NAMES = ("best guess", "80 % sure", "95 % sure")
_NO_COLOUR = "#808080"
_STRIP_PIXELS, _STRIP_SHARE = 18, 0.09
_POINTED_AT = (alt.Tooltip("day:N", title="day"), alt.Tooltip("along:Q", title="months", format=".1f"))
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
    limits: Sequence[tuple[str, float]] = (),
    strip: Sequence[str] = (),
    begins: date | None = None,
) -> marks.Drawn:
    """Readings of one service's wear, and the curve through them with its band.

    Parameters
    ----------
    series, fit : the readings, and the curve fitted to them
    title : str, the finding
    y_title : str, the quantity with its unit
    dark : bool, theme of the page
    services : months at which the client came again, each marked by a line
    swatches : measured colour of each reading, ``#rrggbb``; none leaves them grey
    limits : name and value of each agreed limit, drawn as a dashed line
    strip : modelled colours at even steps over the whole axis, ``#rrggbb``, drawn along the lower edge
    begins : day of the service, to show dates when someone points at the curve

    Raises
    ------
    ValueError : not exactly one well-formed swatch per reading
    """
    if swatches and (len(swatches) != len(series) or not all(map(_HEX.fullmatch, swatches))):
        raise ValueError("swatches need one #rrggbb colour per reading")
    if not all(map(_HEX.fullmatch, strip)):
        raise ValueError("the strip needs #rrggbb colours")
    greys = marks.DARK if dark else marks.LIGHT
    end = axis_end(series, services)
    months = np.linspace(0.0, end, 121)
    median, inner, outer = fit.quantile(months, 0.5), fit.band(months, 0.80), fit.band(months, 0.95)
    domain = shown = _value_range(series, outer, [value for _, value in limits])
    if strip:  # room for it below everything else
        domain = (domain[0] - _STRIP_SHARE * (domain[1] - domain[0]), domain[1])
    ends = dict(zip(_NAMES, (median[-1], inner[1][-1], outer[1][-1]), strict=True))
    ends |= {f"agreed limit {format_number(value)}": value for _, value in limits}
    axes = marks.Axes(_months(end), domain, y_title, lift=28 if services else 10)
    layers = [
        marks.band(months, np.clip(outer[0], *shown), np.clip(outer[1], *shown), axes, greys, 0.18),
        marks.band(months, np.clip(inner[0], *shown), np.clip(inner[1], *shown), axes, greys, 0.30),
        marks.line(months, median, axes, greys),
        *_strip(strip, end, axes),
        *_limits(limits, axes, greys),
        *_services(services, axes, greys),
        *([_dates(months, median, inner, axes, begins)] if begins is not None else []),
        *_readings(series, swatches or [_NO_COLOUR] * len(series), axes, greys, begins),
        marks.labels(ends, axes, greys),
    ]
    return marks.chart(title, layers, greys), _words(title, y_title, series, fit, end, services, limits)


def axis_end(series: FadeSeries, services: Sequence[float]) -> float:
    """Where the axis of a fade chart ends, months."""
    return max(1.0, _AHEAD * max([series.months[-1], *services]))


def _months(end: float) -> marks.Channel:
    ticks = list(range(0, math.floor(end) + 1, math.ceil(end / 6)))
    # the readings of month 0 need room for half a dot
    return marks.horizontal("months since the service", -0.04 * end, end, values=ticks, format="d")


def _value_range(
    series: FadeSeries, outer: tuple[marks.Array, marks.Array], limits: Sequence[float]
) -> tuple[float, float]:
    """All readings with their bars, the limits, and as much of the band as leaves them a third of the height."""
    reach = marks.COVERAGE * np.asarray(series.u)
    bottom, top = float(np.min(series.values - reach)), float(np.max(series.values + reach))
    bottom, top = min([bottom, *limits]), max([top, *limits])
    span = top - bottom
    return marks.padded(max(float(outer[0].min()), bottom - span), min(float(outer[1].max()), top + span), bottom, top)


def _readings(
    series: FadeSeries, swatches: Sequence[str], axes: marks.Axes, greys: marks.Greys, begins: date | None
) -> list[marks.Layer]:
    values, reach = np.asarray(series.values), marks.COVERAGE * np.asarray(series.u)
    said = [format_measured(Measured(value, u)) for value, u in zip(series.values, series.u, strict=True)]
    numbers = marks.rows(along=series.months, value=values, low=values - reach, high=values + reach)
    told = [
        {**row, "colour": swatch, "reading": words, "day": "" if begins is None else _day(begins, row["along"])}
        for row, swatch, words in zip(numbers, swatches, said, strict=True)
    ]
    pointed = [*_POINTED_AT[begins is None :], alt.Tooltip("reading:N", title=axes.title)]
    return marks.readings(told, axes, greys, tooltip=pointed)


def _strip(colours: Sequence[str], end: float, axes: marks.Axes) -> list[marks.Layer]:
    """The modelled colour over time along the lower edge, under the curve."""
    if not colours:
        return []
    edges = np.linspace(0.0, end, len(colours) + 1)
    # each reaches under the next one, or fine lines of the background would show between them
    pairs = marks.rows(along=edges[:-1], until=np.minimum(edges[1:] + end / len(colours), end))
    patches = [{**row, "colour": colour} for row, colour in zip(pairs, colours, strict=True)]
    foot = {"y": alt.value(marks.HEIGHT - _STRIP_PIXELS), "y2": alt.value(marks.HEIGHT)}
    fill = alt.Fill("colour:N", scale=None)
    look = marks.BLANK.mark_rect(tooltip=None).encode(axes.x(), x2=alt.X2("until"), fill=fill, **foot)
    return [marks.Layer(patches, look)]


def _limits(limits: Sequence[tuple[str, float]], axes: marks.Axes, greys: marks.Greys) -> list[marks.Layer]:
    """A dashed line per limit; its name is at the right edge with the others."""
    if not limits:
        return []
    rule = marks.BLANK.mark_rule(strokeDash=[7, 4], strokeWidth=1.5, color=greys.ink)
    return [marks.Layer([{"value": float(value)} for _, value in limits], rule.encode(axes.y()))]


def _dates(
    months: marks.Array, median: marks.Array, inner: tuple[marks.Array, marks.Array], axes: marks.Axes, begins: date
) -> marks.Layer:
    """Invisible points along the curve that show the day when someone points at them."""
    numbers = [
        {
            "along": row["along"],
            "value": row["value"],
            "day": _day(begins, row["along"]),
            "guess": format_number(row["value"]),
            "sure": f"{format_number(row['low'])} to {format_number(row['high'])}",
        }
        for row in marks.rows(along=months, value=median, low=inner[0], high=inner[1])
    ]
    pointed = [*_POINTED_AT, alt.Tooltip("guess:N", title="best guess"), alt.Tooltip("sure:N", title="80 % sure")]
    unseen = marks.BLANK.mark_point(filled=True, size=700, opacity=0, clip=True)
    return marks.Layer(numbers, unseen.encode(axes.x(), axes.y(), tooltip=pointed))


def _day(begins: date, months: float) -> str:
    when = begins + timedelta(days=months * DAYS_PER_MONTH)
    return day(when)


def _services(services: Sequence[float], axes: marks.Axes, greys: marks.Greys) -> list[marks.Layer]:
    """A dotted line per service, the word above the plot where nothing can cover it."""
    if not services:
        return []
    at = marks.rows(along=services)
    word = {"align": "left", "baseline": "bottom", "dx": -3, "dy": -4}
    rule = marks.BLANK.mark_rule(strokeDash=[2, 3], color=greys.label).encode(axes.x())
    name = marks.BLANK.mark_text(text="service", fontSize=13, color=greys.label, **word)
    return [marks.Layer(at, rule), marks.Layer(at, name.encode(axes.x(), y=alt.value(0)))]


def _words(
    title: str,
    y_title: str,
    series: FadeSeries,
    fit: FadeFit,
    end: float,
    services: Sequence[float],
    limits: Sequence[tuple[str, float]],
) -> str:
    measured = "; ".join(
        f"{format_measured(Measured(value, u))} at {month:.1f}"
        for month, value, u in zip(series.months, series.values, series.u, strict=True)
    )
    low, high = (float(edge) for edge in fit.band(end, 0.95))
    parts = [
        f"{title.rstrip('.')}.",
        f"{y_title} by months since the service, with 95 % intervals: {measured}.",
        f"At {end:.1f} months the curve is at {format_number(float(fit.quantile(end, 0.5)))}, "
        f"95 % between {format_number(low)} and {format_number(high)}.",
        f"Agreed: {', '.join(f'{name}, at {format_number(value)}' for name, value in limits)}." if limits else "",
        f"Services at {', '.join(f'{month:.1f}' for month in services)} months." if services else "",
        say_no_rate(fit.refusal),
    ]
    return " ".join(part for part in parts if part)
