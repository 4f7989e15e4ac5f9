"""Pictures of the studio's own yardsticks: what one more photo is worth, the level scale, what is neutral."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import numpy as np

from tracker.calibrate.level import DARKEST, DEFAULT_SCALE, LIGHTEST, LevelScale
from tracker.calibrate.warmth import DEFAULT_LOCUS, NeutralLocus
from tracker.charts import marks
from tracker.maths.quantities import LabMeasured
from tracker.measure.repeatability import Repeatability

_DASHED = (6, 4)
_MOST_PHOTOS = 6


def photos_chart(spread: Repeatability, light: tuple[float, float], dark: bool) -> marks.Drawn:
    """The smallest real change of L* against the number of photos before and after.

    Parameters
    ----------
    light : float and float, L*, uncertainties from light that differs between card and hair: shared by an occasion, and
        each photo's own, as in `Repeatability.smallest_change`
    """
    greys = marks.DARK if dark else marks.LIGHT
    photos = list(range(1, _MOST_PHOTOS + 1))
    sizes = [spread.smallest_change(number, *light) for number in photos]
    along = _quantity("photos before, and as many after", (0.7, _MOST_PHOTOS + 0.3), photos)
    axes = marks.Axes(along, (0.0, 1.15 * max(sizes)), "smallest real change, L*")
    numbers = [{**row, "said": f"{row['value']:.1f}"} for row in marks.rows(along=photos, value=sizes)]
    dots = marks.BLANK.mark_point(filled=True, size=110, color=greys.ink, opacity=1).encode(axes.x(), axes.y())
    said = marks.BLANK.mark_text(dy=-16, fontSize=14, color=greys.ink)
    said = said.encode(axes.x(), axes.y(), text=alt.Text("said:N"))
    layers = [marks.line(photos, sizes, axes, greys), marks.Layer(numbers, dots), marks.Layer(numbers, said)]
    title = f"Three photos instead of one: a change in lightness of {sizes[2]:.1f} instead of {sizes[0]:.1f} stands out"
    each = ", ".join(f"{number}: {size:.1f}" for number, size in zip(photos, sizes, strict=True))
    return marks.chart(title, layers, greys), f"{title}. Smallest real change in L* by photos before and after: {each}."


def scale_chart(
    scale: LevelScale, swatches: Sequence[tuple[str, float, LabMeasured]], dark: bool, colours: Sequence[str] = ()
) -> marks.Drawn:
    """The level scale with the swatches it was made from.

    Parameters
    ----------
    swatches : name, level as labelled, colour
    colours : measured colour of each swatch, ``#rrggbb``
    """
    greys = marks.DARK if dark else marks.LIGHT
    levels = np.linspace(DARKEST, LIGHTEST, 91)
    lightness = np.array([scale.lightness(level) for level in levels])
    built_in = np.array([DEFAULT_SCALE.lightness(level) for level in levels])
    # the uncertainty of a level at that lightness, drawn across the lightness that it spans
    reach = marks.COVERAGE * np.array([scale.uncertainty(value) * scale.slope(value) for value in lightness])
    low, high = lightness - reach, lightness + reach
    seen = [lab.lab[0] for _, _, lab in swatches]
    domain = marks.padded(*low.tolist(), *high.tolist(), *seen)
    axes = marks.Axes(
        _quantity("level", (0.6, 10.4), range(1, 11)), (max(domain[0], 0.0), min(domain[1], 100.0)), "lightness, L*"
    )
    layers = [marks.band(levels, low, high, axes, greys, 0.26), marks.line(levels, lightness, axes, greys)]
    if not scale.provisional:
        layers.append(marks.line(levels, built_in, axes, greys, _DASHED))
    layers += _swatches([(level, lab) for _, level, lab in swatches], colours, axes, greys)
    ends = {scale.name if scale.provisional else "own scale": float(lightness[-1])}
    layers.append(marks.labels(ends if scale.provisional else {**ends, "built in": float(built_in[-1])}, axes, greys))
    title = "Which lightness is which level: the built-in scale" if scale.provisional else "Your own level scale"
    each = ", ".join(f"level {level}: L* {scale.lightness(level):.0f}" for level in range(1, 11))
    return marks.chart(title, layers, greys), f"{title}. {each}. The band holds 95 %; dots are swatches."


def neutral_chart(
    locus: NeutralLocus, swatches: Sequence[LabMeasured], dark: bool, colours: Sequence[str] = ()
) -> marks.Drawn:
    """How yellow natural hair is at each lightness, with the swatches behind it."""
    greys = marks.DARK if dark else marks.LIGHT
    lightness = np.linspace(15, 80, 66)
    yellow = locus.at(lightness)[:, 1]
    published = DEFAULT_LOCUS.at(lightness)[:, 1]
    reach = marks.COVERAGE * np.array([locus.uncertainty(value) for value in lightness])
    seen = [lab.lab[2] for lab in swatches]
    axes = marks.Axes(
        _quantity("lightness, L*", (14, 81), range(20, 81, 10)),
        marks.padded(*(yellow - reach).tolist(), *(yellow + reach).tolist(), *published.tolist(), *seen),
        "b* of natural hair, blue to yellow",
    )
    layers = [
        marks.band(lightness, yellow - reach, yellow + reach, axes, greys, 0.26),
        marks.line(lightness, yellow, axes, greys),
    ]
    if locus.own is not None:
        layers.append(marks.line(lightness, published, axes, greys, _DASHED))
    layers += _swatches([(lab.lab[0], lab) for lab in swatches], colours, axes, greys, component=2)
    # beyond the swatches both curves coincide, so the only label is that of published hair
    layers.append(marks.labels({"published": float(published[-1])}, axes, greys))
    title = "What counts as neutral: published hair" if locus.own is None else "What counts as neutral in your studio"
    each = ", ".join(f"L* {value}: b* {locus.at(value)[1]:.0f}" for value in (20, 30, 40, 50, 60, 70))
    words = f"{title}. {each}. The band holds 95 %; the dashed line is published hair."
    return marks.chart(title, layers, greys), words


def _quantity(title: str, domain: tuple[float, float], ticks: Sequence[int]) -> marks.Channel:
    return marks.horizontal(title, *domain, values=list(ticks), format="d")


def _swatches(
    places: Sequence[tuple[float, LabMeasured]],
    colours: Sequence[str],
    axes: marks.Axes,
    greys: marks.Greys,
    component: int = 0,
) -> list[marks.Layer]:
    """A bar and a dot per swatch, the dot in its measured colour."""
    if not places:
        return []
    along = [place for place, _ in places]
    value = np.array([lab.lab[component] for _, lab in places])
    reach = marks.COVERAGE * np.array([lab.u[component] for _, lab in places])
    shown = list(colours) or [greys.band] * len(places)
    numbers = marks.rows(along=along, value=value, low=value - reach, high=value + reach)
    coloured = [{**row, "colour": colour} for row, colour in zip(numbers, shown, strict=True)]
    return marks.readings(coloured, axes, greys)
