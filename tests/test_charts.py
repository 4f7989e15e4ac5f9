"""Charts: nothing hidden, no colour but the hair's, the same in words, and a specification that is valid."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.charts import fade_chart, profile_chart
from tracker.charts.marks import spread_labels
from tracker.fade import FadeSeries, fit_fade
from tracker.reading import ProfilePoint

SERIES = FadeSeries((0.0, 0.7, 1.5, 4.1), (58.1, 60.8, 62.7, 66.0), (0.6, 0.6, 0.5, 0.6), "mid-lengths", "L*")
SWATCHES = ("#9a8a72", "#a8936f", "#b39a6c", "#c2a468")
GROUND = {False: 255, True: 14}  # page of the light and the dark theme


def chart(series: FadeSeries = SERIES, *, dark: bool = False, **options: Any) -> tuple[dict[str, Any], str]:
    return fade_chart(series, fit_fade(series), title="It wears", y_title="lightness, L*", dark=dark, **options)


def profile(start: float, end: float, n: int = 11, u: float = 0.5) -> tuple[ProfilePoint, ...]:
    return tuple(
        ProfilePoint(way, (start + (end - start) * way, 5.0, 15.0), u) for way in np.linspace(0, 1, n).tolist()
    )


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
}


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("name", ALL)
class TestEveryChart:
    def test_is_valid(self, name: str, dark: bool) -> None:
        import altair

        spec, _ = ALL[name](dark)
        altair.LayerChart.from_dict(json.loads(json.dumps(spec, allow_nan=False)), validate=True)

    def test_no_colour_but_the_measured(self, name: str, dark: bool) -> None:
        spec, _ = ALL[name](dark)
        colours = [
            value for key, value in walk(spec) if key != "colour" and isinstance(value, str) and value.startswith("#")
        ]
        assert colours
        for colour in colours:
            assert colour[1:3] == colour[3:5] == colour[5:7]

    def test_lines_and_words_stand_out_of_the_ground(self, name: str, dark: bool) -> None:
        def luminance(code: int) -> float:
            # WCAG 2.2: relative luminance of a grey, contrast (lighter + 0.05) / (darker + 0.05), 4.5 for text
            return float(((code / 255 + 0.055) / 1.055) ** 2.4) if code > 10 else code / 255 / 12.92

        spec, _ = ALL[name](dark)
        words = [layer["mark"]["color"] for layer in [*layers(spec, "text"), *layers(spec, "line")]]
        for colour in [*words, spec["title"]["color"], spec["config"]["axis"]["labelColor"]]:
            both = sorted([luminance(int(colour[1:3], 16)), luminance(GROUND[dark])])
            assert (both[1] + 0.05) / (both[0] + 0.05) > 4.5

    def test_letters_are_large_enough_and_ground_shows_through(self, name: str, dark: bool) -> None:
        spec, _ = ALL[name](dark)
        sizes = [value for key, value in walk(spec) if key.lower().endswith("fontsize")]
        assert min(sizes) >= 13  # type: ignore[type-var]
        assert spec["background"] == "transparent"
        assert spec["width"] == "container"

    def test_every_layer_draws_the_same_value_axis(self, name: str, dark: bool) -> None:
        # in a layered Vega-Lite chart one layer without an axis takes it from all
        spec, _ = ALL[name](dark)
        axes = [
            (layer["encoding"]["y"]["axis"], layer["encoding"]["y"]["scale"])
            for layer in spec["layer"]
            if "field" in layer["encoding"].get("y", {})
        ]
        assert len(axes) > 2
        assert all(axis == axes[0] for axis in axes)


class TestWear:
    @settings(max_examples=50, deadline=None)
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

    def test_a_long_title_is_broken(self) -> None:
        spec, _ = fade_chart(
            SERIES, fit_fade(SERIES), title="lighter " * 20, y_title="L*", dark=False, swatches=SWATCHES
        )
        assert max(map(len, spec["title"]["text"])) <= 38

    @pytest.mark.parametrize("swatches", [("#123456",), ("red",) * 4, ("#12345",) * 4, ("url(x)",) * 4])
    def test_refuses_other_swatches(self, swatches: tuple[str, ...]) -> None:
        with pytest.raises(ValueError, match="swatches"):
            chart(swatches=swatches)


class TestLengths:
    def test_two_are_told_apart_without_colour(self) -> None:
        spec, words = profile_chart(profile(20, 25), profile(20, 60), dark=False, title="Lighter", names=("old", "new"))
        dashes = [line["mark"]["strokeDash"] for line in layers(spec, "line")]
        assert dashes[0] != dashes[1]
        (names,) = layers(spec, "text")
        assert [row["name"] for row in names["data"]["values"]] == ["old", "new"]
        assert words.startswith("Lighter. Old: L* 20.0 at the root, 25.0 at the tip. New: L* 20.0 at the root, 60.0")

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
