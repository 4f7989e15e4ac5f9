"""A picture of earlier cases: where each started and by how much it changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt

from tracker.charts.marks import BLANK, DARK, LIGHT, Axes, Drawn, Layer, Row, chart, horizontal, padded
from tracker.maths.quantities import Measured, Vector3
from tracker.maths.rgb_space import lab_to_hex
from tracker.maths.uncertainty import coverage_factor, format_number

MOST_POINTS = 400
"""Most cases drawn, the newest: more would only cover each other."""


@dataclass(frozen=True, slots=True)
class CasePoint:
    """One case of the picture.

    Attributes
    ----------
    start : float, level before
    lift : Measured, levels
    ended : CIELAB after
    """

    start: float
    lift: Measured
    ended: Vector3


def cases_chart(cases: Sequence[CasePoint], dark: bool, *, title: str) -> Drawn:
    """Lift against level at the start, one point for each case in the colour it ended with.

    Parameters
    ----------
    cases : newest first
    dark : bool, theme of the page
    title : str, the finding

    Raises
    ------
    ValueError : there is no case
    """
    points = [_point(case) for case in cases[:MOST_POINTS]]
    if not points:
        raise ValueError("a picture of cases needs at least one")
    greys = DARK if dark else LIGHT
    starts = [point["along"] for point in points]
    room = max(0.15, 0.04 * (max(starts) - min(starts)))
    along = horizontal("level at the start", min(starts) - room, max(starts) + room, tickCount=6)
    domain = padded(0.0, *(point["low"] for point in points), *(point["high"] for point in points))
    axes = Axes(along, domain, "levels lighter (+) or darker (−)")
    zero = BLANK.mark_rule(color=greys.label).encode(axes.y("zero"))
    bars = BLANK.mark_rule(color=greys.band, opacity=0.6).encode(axes.x(), axes.y("low"), y2=alt.Y2("high"))
    dots = BLANK.mark_circle(size=160, opacity=1, stroke=greys.ink)
    dots = dots.encode(axes.x(), axes.y(), alt.Color("colour:N", scale=None))
    layers = [Layer([{"zero": 0}], zero), Layer(points, bars), Layer(points, dots)]
    values = [point["value"] for point in points]
    text = f"{title} {len(points)} cases, from {format_number(min(values))} to {format_number(max(values))} levels."
    return chart(title, layers, greys), text


def _point(case: CasePoint) -> Row:
    reach = coverage_factor(case.lift.dof) * case.lift.u
    return {
        "along": case.start,
        "value": case.lift.value,
        "low": case.lift.value - reach,
        "high": case.lift.value + reach,
        "colour": lab_to_hex(case.ended),
    }
