"""Pictures of the studio's own yardsticks: what one more photo is worth, the level scale, what is neutral."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import numpy as np

from tracker.calibrate.level import DARKEST, DEFAULT_SCALE, LIGHTEST, LevelScale
from tracker.calibrate.warmth import DEFAULT_LOCUS, NeutralLocus
from tracker.charts.marks import (
    BLANK,
    COVERAGE,
    DARK,
    LIGHT,
    Axes,
    Channel,
    Drawn,
    Greys,
    Layer,
    band,
    chart,
    horizontal,
    labels,
    line,
    padded,
    readings,
    rows,
)
from tracker.maths.quantities import LabMeasured
from tracker.measure.repeatability import Repeatability

_DASHED = (6, 4)
_MOST_PHOTOS = 6


def photos_chart(spread: Repeatability, light: float, dark: bool) -> Drawn:
    """The smallest real change of L* against the number of photos before and after.

    Parameters
    ----------
    light : float, L*, uncertainty from light that differs between card and hair, as in `Repeatability.smallest_change`
    """
    greys = DARK if dark else LIGHT
    photos = list(range(1, _MOST_PHOTOS + 1))
    sizes = [spread.smallest_change(number, light) for number in photos]
    along = _quantity("photos before, and as many after", (0.7, _MOST_PHOTOS + 0.3), photos)
    axes = Axes(along, (0.0, 1.15 * max(sizes)), "smallest real change, L*")
    numbers = [{**row, "said": f"{row['value']:.1f}"} for row in rows(along=photos, value=sizes)]
    dots = BLANK.mark_point(filled=True, size=110, color=greys.ink, opacity=1).encode(axes.x(), axes.y())
    said = BLANK.mark_text(dy=-16, fontSize=14, color=greys.ink).encode(axes.x(), axes.y(), text=alt.Text("said:N"))
    layers = [line(photos, sizes, axes, greys), Layer(numbers, dots), Layer(numbers, said)]
    title = f"Three photos instead of one: a change in lightness of {sizes[2]:.1f} instead of {sizes[0]:.1f} stands out"
    each = ", ".join(f"{number}: {size:.1f}" for number, size in zip(photos, sizes, strict=True))
    return chart(title, layers, greys), f"{title}. Smallest real change in L* by photos before and after: {each}."


def scale_chart(
    scale: LevelScale, swatches: Sequence[tuple[str, float, LabMeasured]], dark: bool, colours: Sequence[str] = ()
) -> Drawn:
    """The level scale with the swatches it was made from.

    Parameters
    ----------
    swatches : name, level as labelled, colour
    colours : measured colour of each swatch, ``#rrggbb``
    """
    greys = DARK if dark else LIGHT
    levels = np.linspace(DARKEST, LIGHTEST, 91)
    lightness = np.array([scale.lightness(level) for level in levels])
    built_in = np.array([DEFAULT_SCALE.lightness(level) for level in levels])
    # the uncertainty of a level at that lightness, drawn across the lightness that it spans
    reach = COVERAGE * np.array([scale.uncertainty(value) * scale.slope(value) for value in lightness])
    low, high = lightness - reach, lightness + reach
    seen = [lab.lab[0] for _, _, lab in swatches]
    domain = padded(*low.tolist(), *high.tolist(), *seen)
    axes = Axes(
        _quantity("level", (0.6, 10.4), range(1, 11)), (max(domain[0], 0.0), min(domain[1], 100.0)), "lightness, L*"
    )
    layers = [band(levels, low, high, axes, greys, 0.26), line(levels, lightness, axes, greys)]
    if not scale.provisional:
        layers.append(line(levels, built_in, axes, greys, _DASHED))
    layers += _swatches([(level, lab) for _, level, lab in swatches], colours, axes, greys)
    ends = {scale.name if scale.provisional else "own scale": float(lightness[-1])}
    layers.append(labels(ends if scale.provisional else {**ends, "built in": float(built_in[-1])}, axes, greys))
    title = "Which lightness is which level: the built-in scale" if scale.provisional else "Your own level scale"
    each = ", ".join(f"level {level}: L* {scale.lightness(level):.0f}" for level in range(1, 11))
    return chart(title, layers, greys), f"{title}. {each}. The band holds 95 %; dots are swatches."


def neutral_chart(
    locus: NeutralLocus, swatches: Sequence[LabMeasured], dark: bool, colours: Sequence[str] = ()
) -> Drawn:
    """How yellow natural hair is at each lightness, with the swatches behind it."""
    greys = DARK if dark else LIGHT
    lightness = np.linspace(15, 80, 66)
    yellow = locus.at(lightness)[:, 1]
    published = DEFAULT_LOCUS.at(lightness)[:, 1]
    reach = COVERAGE * np.array([locus.uncertainty(value) for value in lightness])
    seen = [lab.lab[2] for lab in swatches]
    axes = Axes(
        _quantity("lightness, L*", (14, 81), range(20, 81, 10)),
        padded(*(yellow - reach).tolist(), *(yellow + reach).tolist(), *published.tolist(), *seen),
        "b* of natural hair, blue to yellow",
    )
    layers = [band(lightness, yellow - reach, yellow + reach, axes, greys, 0.26), line(lightness, yellow, axes, greys)]
    if locus.own is not None:
        layers.append(line(lightness, published, axes, greys, _DASHED))
    layers += _swatches([(lab.lab[0], lab) for lab in swatches], colours, axes, greys, component=2)
    # beyond the swatches both curves coincide, so the only label is that of published hair
    layers.append(labels({"published": float(published[-1])}, axes, greys))
    title = "What counts as neutral: published hair" if locus.own is None else "What counts as neutral in your studio"
    each = ", ".join(f"L* {value}: b* {locus.at(value)[1]:.0f}" for value in (20, 30, 40, 50, 60, 70))
    return chart(title, layers, greys), f"{title}. {each}. The band holds 95 %; the dashed line is published hair."


def _quantity(title: str, domain: tuple[float, float], ticks: Sequence[int]) -> Channel:
    return horizontal(title, *domain, values=list(ticks), format="d")


def _swatches(
    places: Sequence[tuple[float, LabMeasured]],
    colours: Sequence[str],
    axes: Axes,
    greys: Greys,
    component: int = 0,
) -> list[Layer]:
    """A bar and a dot per swatch, the dot in its measured colour."""
    if not places:
        return []
    along = [place for place, _ in places]
    value = np.array([lab.lab[component] for _, lab in places])
    reach = COVERAGE * np.array([lab.u[component] for _, lab in places])
    shown = list(colours) or [greys.band] * len(places)
    numbers = rows(along=along, value=value, low=value - reach, high=value + reach)
    coloured = [{**row, "colour": colour} for row, colour in zip(numbers, shown, strict=True)]
    return readings(coloured, axes, greys)
