"""Charts: nothing hidden, no colour but the hair's, the same in words, and a specification that is valid."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.calibrate.level import DEFAULT_SCALE
from tracker.calibrate.level_fit import LevelSwatch, fit_scale
from tracker.calibrate.neutral_fit import fit_locus
from tracker.calibrate.warmth import DEFAULT_LOCUS
from tracker.charts import (
    CasePoint,
    cases_chart,
    fade_chart,
    neutral_chart,
    photos_chart,
    profile_chart,
    scale_chart,
    spread_chart,
)
from tracker.charts.marks import spread_labels
from tracker.compare.lights_and_lows import Distribution, Shades
from tracker.compare.transition import Interval
from tracker.fade import FadeSeries, fit_fade
from tracker.maths.quantities import LabMeasured, Measured
from tracker.measure.reading import ProfilePoint
from tracker.measure.repeatability import PROVISIONAL

SERIES = FadeSeries((0.0, 0.7, 1.5, 4.1), (58.1, 60.8, 62.7, 66.0), (0.6, 0.6, 0.5, 0.6), "mid-lengths", "L*")
SWATCHES = ("#9a8a72", "#a8936f", "#b39a6c", "#c2a468")
GROUND = {False: 255, True: 14}  # page of the light and the dark theme


def chart(series: FadeSeries = SERIES, *, dark: bool = False, **options: Any) -> tuple[dict[str, Any], str]:
    return fade_chart(series, fit_fade(series), title="It wears", y_title="lightness, L*", dark=dark, **options)


def profile(start: float, end: float, n: int = 11, u: float = 0.5) -> tuple[ProfilePoint, ...]:
    return tuple(
        ProfilePoint(way, (start + (end - start) * way, 5.0, 15.0), u) for way in np.linspace(0, 1, n).tolist()
    )


CASES = tuple(
    CasePoint(start, Measured(lift, 0.2, "levels"), (40.0 + 5 * lift, 6.0, 18.0))
    for start, lift in ((4.0, 1.0), (5.0, 2.5), (5.5, -0.5))
)

RING = tuple(
    (f"ring {level:g}", level, LabMeasured(lab, ((0.5, 0, 0), (0, 0.2, 0), (0, 0, 0.2))))
    for level, lab in ((3.0, (24.0, 6.0, 9.0)), (6.0, (38.0, 7.0, 20.0)), (8.0, (54.0, 5.0, 22.0)))
)
OWN_SCALE = fit_scale([LevelSwatch(*row) for row in RING], "own scale").scale
OWN_LOCUS = fit_locus([(name, lab) for name, _, lab in RING], "own natural hair")

SCALE = np.arange(0.0, 101.0)
SHADES = Shades(Measured(50.0, 1.0, "L*"), Measured(30.0, 1.0, "L*"), Measured(20.0, 0.5, "L*"))


def hump(middle: float, width: float) -> Distribution:
    share = 100 * np.exp(-np.square((SCALE - middle) / width) / 2) / (width * np.sqrt(2 * np.pi))
    return Distribution(SCALE, share, 0.8 * share, 1.2 * share)


def spread(dark: bool, **humps: Distribution) -> tuple[dict[str, Any], str]:
    return spread_chart(humps, dict.fromkeys(humps, SHADES), dark, title="65 % is lighter")


def walk(node: object) -> Iterator[tuple[str, object]]:
    """Every key and value below a node."""
    if isinstance(node, dict):
        for key, value in node.items():
            yield key, value
            yield from walk(value)
    elif isinstance(node, list):
        for item in node:
            yield from walk(item)


def layers(spec: dict[str, Any], mark: str) -> list[dict[str, Any]]:
    return [layer for layer in spec["layer"] if layer["mark"]["type"] == mark]


def domain(spec: dict[str, Any]) -> tuple[float, float]:
    low, high = layers(spec, "line")[0]["encoding"]["y"]["scale"]["domain"]
    return low, high


ALL = {
    "wear": lambda dark: chart(dark=dark, swatches=SWATCHES, services=(0.0, 4.4)),
    "one reading": lambda dark: chart(FadeSeries((0.0,), (58.0,), (0.6,), unit="L*"), dark=dark),
    "two lengths": lambda dark: profile_chart(profile(20, 25), profile(20, 60), dark, title="Lighter"),
    "one length": lambda dark: profile_chart(profile(20, 60), None, dark),
    "lengths with a start": lambda dark: profile_chart(
        profile(20, 25), profile(20, 60), dark, start=Interval(0.4, 0.3, 0.5)
    ),
    "two spreads": lambda dark: spread(dark, before=hump(30, 3), after=hump(45, 8)),
    "cases": lambda dark: cases_chart(CASES, dark, title="Lift by level at the start"),
    "photos": lambda dark: photos_chart(PROVISIONAL, (1.0, 0.0), dark),
    "built-in scale": lambda dark: scale_chart(DEFAULT_SCALE, (), dark),
    "own scale": lambda dark: scale_chart(OWN_SCALE, RING, dark, SWATCHES[:3]),
    "published hair": lambda dark: neutral_chart(DEFAULT_LOCUS, (), dark),
    "own hair": lambda dark: neutral_chart(OWN_LOCUS, [lab for _, _, lab in RING], dark, SWATCHES[:3]),
    "one spread": lambda dark: spread(dark, before=hump(30, 3)),
}


@cache
def written(name: str, dark: bool) -> str:
    """The specification of a chart, as JSON."""
    return json.dumps(ALL[name](dark)[0], allow_nan=False)


@pytest.fixture
def spec(name: str, dark: bool) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(written(name, dark))
    return found


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("name", ALL)
class TestEveryChart:
    def test_is_valid(self, spec: dict[str, Any]) -> None:
        import altair

        altair.LayerChart.validate(spec)

    def test_no_colour_but_the_measured(self, spec: dict[str, Any]) -> None:
        colours = [
            value for key, value in walk(spec) if key != "colour" and isinstance(value, str) and value.startswith("#")
        ]
        assert colours
        for colour in colours:
            assert colour[1:3] == colour[3:5] == colour[5:7]

    def test_lines_and_words_stand_out_of_the_ground(self, spec: dict[str, Any], dark: bool) -> None:
        def luminance(code: int) -> float:
            # WCAG 2.2: relative luminance of a grey, contrast (lighter + 0.05) / (darker + 0.05), 4.5 for text
            return float(((code / 255 + 0.055) / 1.055) ** 2.4) if code > 10 else code / 255 / 12.92

        words = [layer["mark"]["color"] for layer in [*layers(spec, "text"), *layers(spec, "line")]]
        for colour in [*words, spec["title"]["color"], spec["config"]["axis"]["labelColor"]]:
            both = sorted([luminance(int(colour[1:3], 16)), luminance(GROUND[dark])])
            assert (both[1] + 0.05) / (both[0] + 0.05) > 4.5

    def test_letters_are_large_enough_and_ground_shows_through(self, spec: dict[str, Any]) -> None:
        sizes = [value for key, value in walk(spec) if key.lower().endswith("fontsize")]
        assert min(sizes) >= 13  # type: ignore[type-var]
        assert spec["background"] == "transparent"
        assert spec["width"] == "container"

    def test_every_layer_draws_the_same_value_axis(self, spec: dict[str, Any]) -> None:
        # in a layered Vega-Lite chart one layer without an axis takes it from all
        axes = [
            (layer["encoding"]["y"]["axis"], layer["encoding"]["y"]["scale"])
            for layer in spec["layer"]
            if "field" in layer["encoding"].get("y", {})
        ]
        assert len(axes) > 2
        assert all(axis == axes[0] for axis in axes)


class TestWear:
    @settings(max_examples=50)
    @given(
        st.lists(st.tuples(st.floats(0, 24), st.floats(-100, 100), st.floats(0.05, 20)), min_size=1, max_size=5).map(
            lambda rows: FadeSeries(*zip(*sorted(rows), strict=True))
        )
    )
    def test_no_reading_is_hidden(self, series: FadeSeries) -> None:
        spec, _ = chart(series)
        low, high = domain(spec)
        first, last = layers(spec, "line")[0]["encoding"]["x"]["scale"]["domain"]
        for month, value, u in zip(series.months, series.values, series.u, strict=True):
            assert low < value - 1.96 * u < value + 1.96 * u < high
            assert first < month < last

    def test_a_wide_band_leaves_the_readings_room(self) -> None:
        spec, _ = chart(FadeSeries((0.0,), (58.0,), (0.1,), unit="L*"))
        low, high = domain(spec)
        # the bar is 2 times 1.96 times 0.1 high
        assert 0.392 / (high - low) > 0.25

    def test_readings_wear_their_measured_colour_with_a_rim(self) -> None:
        spec, _ = chart(swatches=SWATCHES)
        (dots,) = layers(spec, "point")
        assert [row["colour"] for row in dots["data"]["values"]] == list(SWATCHES)
        assert dots["encoding"]["fill"]["scale"] is None
        assert dots["mark"]["stroke"].startswith("#")

    def test_bars_hold_95_percent(self) -> None:
        spec, _ = chart()
        (bars,) = layers(spec, "rule")
        # 58.1 and 1.96 times 0.6
        assert bars["data"]["values"][0]["low"] == pytest.approx(58.1 - 1.176)
        assert bars["data"]["values"][0]["high"] == pytest.approx(58.1 + 1.176)

    def test_bands_are_those_of_the_fit(self) -> None:
        spec, _ = chart()
        fit = fit_fade(SERIES)
        for band, level in zip(layers(spec, "area"), (0.95, 0.80), strict=True):
            row = band["data"]["values"][60]
            np.testing.assert_allclose([row["low"], row["high"]], fit.band(row["along"], level), rtol=1e-9)

    def test_services_are_marked(self) -> None:
        spec, words = chart(services=(2.0, 6.0))
        marks = [layer for layer in layers(spec, "rule") if "strokeDash" in layer["mark"]]
        assert [row["along"] for row in marks[0]["data"]["values"]] == [2.0, 6.0]
        assert layers(spec, "line")[0]["encoding"]["x"]["scale"]["domain"][1] > 6.0
        assert "Services at 2.0, 6.0 months." in words

    @pytest.mark.parametrize("end", [0.0, 0.3, 3.0, 11.0, 40.0])
    def test_months_are_whole_and_few(self, end: float) -> None:
        spec, _ = chart(FadeSeries((end,), (58.0,), (0.6,), unit="L*"))
        ticks = layers(spec, "line")[0]["encoding"]["x"]["axis"]["values"]
        assert 2 <= len(ticks) <= 7
        assert all(isinstance(tick, int) for tick in ticks)
        assert len({after - before for before, after in pairwise(ticks)}) == 1

    def test_words_say_what_the_picture_shows(self) -> None:
        _, words = chart(FadeSeries((0.0, 1.25), (-1.44, 4.2), (0.6, 0.6), unit="warmth"))
        assert words.startswith("It wears. lightness, L* by months since the service")
        assert "\u22121.4 ± 1.2 at 0.0; 4.2 ± 1.2 at 1.2" in words
        assert "No rate can be given" in words
        assert re.search(r"At 1\.6 months the curve is at \d\.\d, 95 % between \d\.\d and \d\.\d", words)

    def test_a_title_is_broken_only_where_a_drawn_file_ends(self) -> None:
        spec, _ = fade_chart(
            SERIES, fit_fade(SERIES), title="lighter " * 20, y_title="L*", dark=False, swatches=SWATCHES
        )
        assert 60 < max(map(len, spec["title"]["text"])) <= 80

    def test_a_wide_band_ends_above_the_strip_of_colour(self) -> None:
        one = FadeSeries((0.0,), (1.0,), (0.6,), unit="warmth")
        spec, _ = fade_chart(one, fit_fade(one), title="One photo", y_title="L*", dark=False, strip=["#808080"] * 4)
        low, high = domain(spec)
        foot = low + 18 / 300 * (high - low)  # the strip is 18 of 300 pixels high
        rows = [row for layer in layers(spec, "area") for row in layer["data"]["values"]]
        assert rows
        assert foot < min(row["low"] for row in rows)
        assert max(row["high"] for row in rows) <= high

    def test_an_agreed_limit_is_named_with_its_value(self) -> None:
        spec, words = fade_chart(
            SERIES, fit_fade(SERIES), title="x", y_title="L*", dark=False, limits=[("at most", 21.94)]
        )
        names = [row["name"] for layer in layers(spec, "text") for row in layer["data"]["values"]]
        assert "agreed limit 21.9" in names
        assert "Agreed: at most, at 21.9." in words

    @pytest.mark.parametrize("swatches", [("#123456",), ("red",) * 4, ("#12345",) * 4, ("url(x)",) * 4])
    def test_refuses_other_swatches(self, swatches: tuple[str, ...]) -> None:
        with pytest.raises(ValueError, match="swatches"):
            chart(swatches=swatches)


class TestLengths:
    def test_two_are_told_apart_without_colour(self) -> None:
        spec, words = profile_chart(profile(20, 25), profile(20, 60), dark=False, title="Lighter")
        dashes = [line["mark"]["strokeDash"] for line in layers(spec, "line")]
        assert dashes[0] != dashes[1]
        (names,) = layers(spec, "text")
        assert [row["name"] for row in names["data"]["values"]] == ["before", "after"]
        assert words.startswith("Lighter. Before: L* 20.0 at the root, 25.0 at the tip. ")
        assert "After: L* 20.0 at the root, 60.0 at the tip." in words

    def test_names_stand_at_the_ends_of_their_lines(self) -> None:
        spec, _ = profile_chart(profile(20, 25), profile(20, 60), dark=False)
        (names,) = layers(spec, "text")
        assert [row["place"] for row in names["data"]["values"]] == pytest.approx([25.0, 60.0])

    def test_one_alone_needs_no_name(self) -> None:
        spec, words = profile_chart(profile(20, 60), None, dark=False)
        assert [row["name"] for row in layers(spec, "text")[0]["data"]["values"]] == [""]
        assert " ".join(spec["title"]["text"]) == "L* 20.0 at the root, 60.0 at the tip."
        assert words.count("at the root") == 1

    def test_points_in_any_order(self) -> None:
        spec, _ = profile_chart(profile(20, 60)[::-1], None, dark=False)
        ways = [row["along"] for row in layers(spec, "line")[0]["data"]["values"]]
        assert ways == sorted(ways)

    def test_bands_are_inside(self) -> None:
        spec, _ = profile_chart(profile(20, 60, u=3.0), None, dark=False)
        low, high = domain(spec)
        assert low < 20 - 1.96 * 3
        assert high > 60 + 1.96 * 3

    def test_one_point_is_enough(self) -> None:
        spec, _ = profile_chart(profile(20, 60)[:1], None, dark=False)
        low, high = domain(spec)
        assert low < 20 < high

    @pytest.mark.parametrize(("before", "after"), [((), None), (profile(20, 60), ()), ((), profile(20, 60))])
    def test_refuses_nothing(self, before: tuple[ProfilePoint, ...], after: tuple[ProfilePoint, ...] | None) -> None:
        with pytest.raises(ValueError, match="at least one point"):
            profile_chart(before, after, dark=False)

    @pytest.mark.parametrize("place", [0.2, 0.9])
    def test_the_start_is_marked_with_its_interval(self, place: float) -> None:
        start = Interval(place, place - 0.1, place + 0.05)
        spec, words = profile_chart(profile(20, 25), profile(20, 60), dark=False, start=start)
        dotted, bar = layers(spec, "rule")
        assert dotted["data"]["values"] == [{"along": place, "from": start.low, "to": start.high}]
        assert bar["encoding"]["x"]["field"] == "from"
        assert bar["encoding"]["x2"]["field"] == "to"
        at, low, high = (f"{100 * share:.0f} %" for share in (place, start.low, start.high))
        assert f"The lightening starts at {at} of the way ({low} to {high})." in words
        word = next(layer for layer in layers(spec, "text") if layer["mark"].get("text") == "starts here")
        # the word stays inside the plot
        assert word["mark"]["align"] == ("right" if place > 0.7 else "left")


class TestSpread:
    def test_two_are_told_apart_without_colour(self) -> None:
        spec, words = spread(False, before=hump(30, 3), after=hump(45, 8))
        dashes = [line["mark"]["strokeDash"] for line in layers(spec, "line")]
        assert dashes[0] != dashes[1]
        (names,) = layers(spec, "text")
        places = {row["name"]: row["along"] for row in names["data"]["values"]}
        assert places["before"] < 35 < places["after"]
        assert words.startswith(
            "65 % is lighter. Before: lights L* 50.0 ± 2.0, lows L* 30.0 ± 2.0, apart by 20.0 ± 1.0."
        )

    @pytest.mark.parametrize("middle", [30.0, 31.0, 60.0])
    def test_names_never_cover_each_other(self, middle: float) -> None:
        spec, _ = spread(False, before=hump(30, 3), after=hump(middle, 3.1))
        (names,) = layers(spec, "text")
        one, other = names["data"]["values"]
        height = domain(spec)[1] - domain(spec)[0]
        assert abs(one["along"] - other["along"]) >= 8 or abs(one["place"] - other["place"]) > 0.05 * height

    def test_only_the_part_with_hair_is_shown(self) -> None:
        spec, _ = spread(False, before=hump(30, 3), after=hump(45, 4))
        low, high = layers(spec, "line")[0]["encoding"]["x"]["scale"]["domain"]
        assert 10 < low < 25
        assert 55 < high < 70

    def test_refuses_nothing(self) -> None:
        with pytest.raises(ValueError, match="no distribution"):
            spread_chart({}, {}, False, title="")


class TestLabels:
    def test_by_hand(self) -> None:
        assert spread_labels([100.0, 101.0, 10.0], 17.0, 0.0, 300.0) == [100.0, 117.0, 10.0]
        assert spread_labels([299.0, 300.0], 17.0, 0.0, 300.0) == [283.0, 300.0]
        assert spread_labels([], 17.0, 0.0, 300.0) == []

    @given(st.lists(st.floats(-500, 800), min_size=1, max_size=8))
    def test_never_cover_each_other_and_stay_inside(self, wanted: list[float]) -> None:
        places = spread_labels(wanted, 17.0, 0.0, 300.0)
        ordered = sorted(places)
        assert all(after - before >= 17.0 - 1e-9 for before, after in pairwise(ordered))
        assert ordered[0] >= -1e-9
        assert ordered[-1] <= 300.0 + 1e-9
        by_wish = [places[index] for index in sorted(range(len(wanted)), key=lambda index: wanted[index])]
        assert by_wish == ordered

    def test_too_many_run_over_one_end_only(self) -> None:
        assert spread_labels([0.0, 0.0, 0.0], 10.0, 0.0, 15.0) == [0.0, 10.0, 20.0]


def test_cases_are_drawn_in_the_colour_they_ended_with() -> None:
    spec, text = cases_chart(CASES, dark=False, title="Lift")
    [bars] = [layer for layer in layers(spec, "rule") if "y2" in layer["encoding"]]
    points = bars["data"]["values"]
    assert [point["value"] for point in points] == [1.0, 2.5, -0.5]
    # half width of a 95 % interval, normal: 1.960 standard uncertainties [GUM, table G.1]
    assert [(point["high"] - point["low"]) / 2 for point in points] == pytest.approx([0.392] * 3, abs=1e-3)
    assert len({point["colour"] for point in points}) == 3
    assert "from \u22120.5 to 2.5 levels" in text
    with pytest.raises(ValueError, match="at least one"):
        cases_chart((), dark=False, title="Lift")


class TestYardsticks:
    def test_one_more_photo_is_worth_what_the_formula_says(self) -> None:
        spec, words = photos_chart(PROVISIONAL, (1.0, 0.0), dark=False)
        shown = [row["value"] for row in layers(spec, "point")[0]["data"]["values"]]
        # 0.8 on 20 degrees of freedom, 2 more with each photo of a state, beside four fifths of a variance of 1.0 on 8:
        # JCGM 100:2008, G.4.1; Student 1908, t by scipy
        from scipy.stats import t

        expected = []
        for n in range(1, 7):
            total = 0.8**2 / n + 0.8
            dof = total**2 / ((0.8**2 / n) ** 2 / (20 + 2 * (n - 1)) + 0.8**2 / 8)
            expected.append(math.sqrt(2 * total) * t.isf(0.025, dof))
        assert shown == pytest.approx(expected, rel=1e-3)
        assert "3.1 instead of 3.5" in words

    def test_swatches_lie_on_the_chart_where_they_were_read(self) -> None:
        spec, words = scale_chart(OWN_SCALE, RING, dark=False, colours=SWATCHES[:3])
        dots = layers(spec, "point")[0]["data"]["values"]
        assert [(dot["along"], dot["value"], dot["colour"]) for dot in dots] == [
            (level, lab.lab[0], colour) for (_, level, lab), colour in zip(RING, SWATCHES[:3], strict=True)
        ]
        assert len(layers(spec, "line")) == 2
        assert "level 6: L* 38" in words

    def test_the_built_in_scale_is_compared_with_nothing(self) -> None:
        assert len(layers(scale_chart(DEFAULT_SCALE, (), dark=False)[0], "line")) == 1
        assert len(layers(neutral_chart(DEFAULT_LOCUS, (), dark=False)[0], "line")) == 1
