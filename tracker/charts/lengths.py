"""A picture of lightness from root to tip."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import numpy as np

from tracker.charts import marks
from tracker.compare.transition import Interval
from tracker.maths.uncertainty import format_number, format_share
from tracker.measure.reading import ProfilePoint

_WAY = "datum.value == 0 ? 'root' : datum.value == 1 ? 'tip' : format(100 * datum.value, '.0f') + ' %'"
_DASHES: tuple[tuple[int, ...], ...] = ((6, 4), ())


def profile_chart(
    before: Sequence[ProfilePoint],
    after: Sequence[ProfilePoint] | None,
    dark: bool,
    *,
    title: str = "",
    start: Interval | None = None,
) -> marks.Drawn:
    """Lightness along the hair, of one reading or two.

    Parameters
    ----------
    before, after : points of a reading from root to tip; `after` may be None. The first of two is dashed
    dark : bool, theme of the page
    title : str, the finding; by default where each line starts and ends
    start : where the lightening starts, share of the way, with its interval; marked by a dotted line

    Raises
    ------
    ValueError : a reading has no points
    """
    if not before or (after is not None and not after):
        raise ValueError("a profile needs at least one point")
    pair = {"": before} if after is None else {"before": before, "after": after}
    profiles = {name: sorted(points, key=lambda point: point.position) for name, points in pair.items()}
    greys = marks.DARK if dark else marks.LIGHT
    edges = {name: _edges(points) for name, points in profiles.items()}
    domain = marks.padded(*(float(bound) for low, high in edges.values() for bound in (low.min(), high.max())))
    ticks = {"values": [0, 0.25, 0.5, 0.75, 1], "labelExpr": _WAY, "labelFlush": True}
    axes = marks.Axes(marks.horizontal("way from root to tip", 0, 1, **ticks), domain, "lightness, L*")
    layers = []
    for dash, (name, points) in zip(_DASHES[-len(profiles) :], profiles.items(), strict=True):
        way, lightness = [point.position for point in points], [point.lab[0] for point in points]
        layers += [marks.band(way, *edges[name], axes, greys, 0.28), marks.line(way, lightness, axes, greys, dash)]
    if start is not None:
        layers += _start(start, axes, greys)
    layers.append(marks.labels({name: points[-1].lab[0] for name, points in profiles.items()}, axes, greys))
    said = " ".join(_from_to(name, points) for name, points in profiles.items())
    if start is not None:
        at, low, high = (format_share(share) for share in (start.value, start.low, start.high))
        said += f" The lightening starts at {at} of the way ({low} to {high})."
    text = f"{title.rstrip('.')}. {said}" if title else said
    return marks.chart(title or said, layers, greys), f"{text} Lightness from root to tip, bands hold 95 %."


def _edges(points: Sequence[ProfilePoint]) -> tuple[marks.Array, marks.Array]:
    lightness = np.array([point.lab[0] for point in points])
    reach = marks.COVERAGE * np.array([point.u_lightness for point in points])
    return lightness - reach, lightness + reach


def _start(start: Interval, axes: marks.Axes, greys: marks.Greys) -> list[marks.Layer]:
    """A dotted line where the lightening starts, and its interval as a bar at the foot of the plot."""
    at, foot = [{"along": start.value, "from": start.low, "to": start.high}], alt.value(marks.HEIGHT)
    left = start.value > 0.7
    word = {"align": "right" if left else "left", "baseline": "bottom", "dx": -6 if left else 6, "dy": -8}
    looks = (
        marks.BLANK.mark_rule(strokeDash=[2, 3], color=greys.label).encode(axes.x()),
        marks.BLANK.mark_rule(strokeWidth=4, color=greys.label).encode(axes.x("from"), x2=alt.X2("to"), y=foot),
        marks.BLANK.mark_text(text="starts here", fontSize=13, color=greys.label, **word).encode(axes.x(), y=foot),
    )
    return [marks.Layer(at, look) for look in looks]


def _from_to(name: str, points: Sequence[ProfilePoint]) -> str:
    start = f"{name[:1].upper()}{name[1:]}: " if name else ""
    root, tip = (format_number(point.lab[0]) for point in (points[0], points[-1]))
    return f"{start}L* {root} at the root, {tip} at the tip."
