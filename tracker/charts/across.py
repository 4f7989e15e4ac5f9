"""Services of one kind, drawn over one another: each one, the middle, and where most of them lie."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import numpy as np

from tracker.charts import marks
from tracker.fade import GroupWear, Overlay, Strand
from tracker.maths.uncertainty import format_number

MOST_STRANDS = 60
"""Most services drawn one by one: more would only cover each other and slow down a phone."""

_CROWD = 5
"""From this many services each is drawn faint, to let the middle stand out."""

_DASHES: tuple[tuple[int, ...], ...] = ((), (8, 4), (2, 3), (8, 3, 2, 3), (14, 4))
"""Dashes and names tell groups apart, never hue."""

MOST_GROUPS = len(_DASHES)


def across_chart(overlay: Overlay, *, title: str, y_title: str, dark: bool) -> marks.Drawn:
    """Change since the service of many services, with the middle of all and of each group.

    Parameters
    ----------
    overlay : Overlay, from `fade.across`
    title : str, the finding
    y_title : str, the quantity with its unit
    dark : bool, theme of the page

    Raises
    ------
    ValueError : no service has a curve
    """
    strands = [strand for strand in overlay.strands if len(strand.months) > 1][:MOST_STRANDS]
    if not strands:
        raise ValueError("a picture of services needs at least one with a curve")
    greys = marks.DARK if dark else marks.LIGHT
    groups = [group for group in overlay.groups if group.months][:MOST_GROUPS]
    several = len(groups) > 1
    ends_at = [strand.months[-1] for strand in strands]
    end = max(1.0, *ends_at, *(group.months[-1] for group in (overlay.all, *groups) if group.months))
    values = [value for strand in strands for value in strand.change] + [*overlay.all.low, *overlay.all.high, 0.0]
    unit = "months of usual washing since the service" if overlay.in_washes else "months since the service"
    axes = marks.Axes(marks.horizontal(unit, 0.0, end, format="d", tickMinStep=1), marks.padded(*values), y_title)
    layers = [_strands(strands, axes, greys)]
    whole = overlay.all
    ends: dict[str, float] = {}
    if whole.months and not several:
        layers += [marks.band(whole.months, whole.low, whole.high, axes, greys, 0.28)]
        layers += [marks.line(whole.months, whole.median, axes, greys)]
        ends = {"middle": whole.median[-1], "8 of 10": whole.high[-1]}
    for group, dash in zip(groups, _DASHES, strict=False):
        if several:
            layers.append(marks.line(group.months, group.median, axes, greys, dash))
            ends[group.group] = group.median[-1]
    if ends:
        layers.append(marks.labels(ends, axes, greys))
    return marks.chart(title, layers, greys), _words(title, y_title, overlay, groups if several else [])


def _strands(strands: Sequence[Strand], axes: marks.Axes, greys: marks.Greys) -> marks.Layer:
    numbers = [
        {**row, "strand": number}
        for number, strand in enumerate(strands)
        for row in marks.rows(along=strand.months, value=strand.change)
    ]
    few = len(strands) < _CROWD
    look = {"color": greys.ink if few else greys.label, "strokeWidth": 2 if few else 1, "opacity": 0.9 if few else 0.35}
    lines = marks.BLANK.mark_line(clip=True, tooltip=None, **look)
    return marks.Layer(numbers, lines.encode(axes.x(), axes.y(), detail=alt.Detail("strand:N")))


def _words(title: str, y_title: str, overlay: Overlay, groups: Sequence[GroupWear]) -> str:
    parts = [f"{title.rstrip('.')}.", f"{y_title} of {len(overlay.strands)} services by months since each service."]
    for name, group in (("All", overlay.all), *((each.group, each) for each in groups)):
        if not group.months:
            continue
        last = int(np.argmax(group.months))
        parts.append(
            f"{name}: at {group.months[last]:.1f} months the middle is at {format_number(group.median[last])}, "
            f"8 of 10 clients between {format_number(group.low[last])} and {format_number(group.high[last])}."
        )
    return " ".join(parts)
