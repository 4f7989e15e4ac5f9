"""The root: its length on rendered heads, its rate against published ones, and when it is too long."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.samples import ribbon_reading
from tests.test_card_scale import of_photo
from tests.test_transition import TRUTH
from tracker.fade import FadeSeries
from tracker.maths.quantities import Measured
from tracker.measure.reading import ProfilePoint
from tracker.said.wear import say_no_date
from tracker.wear.regrowth import PUBLISHED_RATE, Regrowth, forecast, regrowth, root_length

DAYS = 30.4375
# µm a day, mean and spread: Loussouarn et al. 2005 as a textbook tables it (ch. 6, table 1), and 2001 (abstract)
PUBLISHED = ((280, 50), (367, 56), (411, 53), (256, 44), (396, 55))
PATH = Measured(300.0, 12.0, "mm")


def roots(*rows: tuple[float, float, float]) -> FadeSeries:
    months, values, u = zip(*rows, strict=True)
    return FadeSeries(months, values, u, unit="mm")


def profile(root: float, lengths: float, start: float, seed: int = 1) -> list[ProfilePoint]:
    rng, way = np.random.default_rng(seed), np.linspace(0.01, 0.99, 48)
    light = root + (lengths - root) / (1 + np.exp(-(way - start) / 0.02)) + rng.normal(0, 0.5, 48)
    return [ProfilePoint(float(p), (float(v), 5.0, 15.0), 0.5) for p, v in zip(way, light, strict=True)]


class TestRate:
    def test_band_holds_the_published_groups(self) -> None:
        low, high = (PUBLISHED_RATE.value + side * 1.96 * PUBLISHED_RATE.u for side in (-1, 1))
        for mean, _ in PUBLISHED:
            assert low < mean * DAYS / 1000 < high
        # the slowest and the fastest group's own spread still lie inside
        assert low < (256 - 44) * DAYS / 1000
        assert high > (411 + 53) * DAYS / 1000
        grand = np.mean([mean for mean, _ in PUBLISHED]) * DAYS / 1000
        assert PUBLISHED_RATE.value == pytest.approx(grand, abs=1.0)

    def test_no_photo_gives_the_published_rate(self) -> None:
        found = regrowth([])
        assert (found.rate.value, found.rate.u) == pytest.approx((PUBLISHED_RATE.value, PUBLISHED_RATE.u))
        assert (found.own, found.start) == (False, None)
        assert found.why_not == "no root"

    def test_one_photo_says_nothing_of_the_rate(self) -> None:
        found = regrowth([roots((1.0, 30.0, 3.0))])
        assert found.rate.value == pytest.approx(11.0)
        assert found.rate.u == pytest.approx(2.8)
        assert found.start is not None
        assert found.start.value == pytest.approx(19.0)

    def test_own_rate_is_weighed_by_precision(self) -> None:
        # by hand: two photos 2 months apart, 3 mm each: slope 14 with u² = 2 x 9 / 4, against 11 with 2.8²
        found = regrowth([roots((0.0, 10.0, 3.0), (2.0, 38.0, 3.0))])
        own, published = 1 / 4.5, 1 / 2.8**2
        assert found.rate.value == pytest.approx((14 * own + 11 * published) / (own + published))
        assert found.rate.u == pytest.approx(1 / math.sqrt(own + published))
        assert found.own

    def test_a_rate_that_is_well_known_keeps_its_uncertainty(self) -> None:
        # by hand: u of the slope is 0.5 mm x sqrt(2) / 4 months = 0.18, so 0.3 at 95 %
        found = regrowth([roots((0.0, 10.0, 0.5), (4.0, 58.0, 0.5))])
        assert found.rate.value == pytest.approx(12.0, abs=0.05)
        assert 1.96 * found.rate.u == pytest.approx(0.3, abs=0.05)

    def test_against_a_linear_model_in_full(self) -> None:
        # the same posterior from the normal equations of (start, rate) with the published rate as one more row
        rows = ((0.3, 14.0, 2.0), (1.1, 25.0, 4.0), (2.6, 37.0, 3.0), (2.6, 41.0, 3.0))
        found = regrowth([roots(*rows)])
        design = np.array([[1.0, t] for t, _, _ in rows] + [[0.0, 1.0]])
        weight = np.array([u**-2 for _, _, u in rows] + [PUBLISHED_RATE.u**-2])
        cov = np.linalg.inv(design.T @ (design * weight[:, None]))
        mean = cov @ (design.T @ (weight * np.array([y for _, y, _ in rows] + [PUBLISHED_RATE.value])))
        assert found.start is not None
        assert [found.start.value, found.rate.value] == pytest.approx(mean.tolist())
        assert [found.start.u**2, found.rate.u**2, found.covariance] == pytest.approx([cov[0, 0], cov[1, 1], cov[0, 1]])
        at, u = found.length(np.array([5.0]))
        assert at[0] == pytest.approx(mean @ [1, 5])
        assert u[0] == pytest.approx(math.sqrt(np.array([1, 5]) @ cov @ [1, 5]))

    def test_earlier_services_teach_the_rate_only(self) -> None:
        before = roots((0.0, 100.0, 1.0), (3.0, 139.0, 1.0))
        found = regrowth([before, roots((0.5, 8.0, 2.0))])
        assert found.rate.value == pytest.approx(13.0, abs=0.1)
        assert found.start is not None
        assert found.start.value == pytest.approx(8 - 0.5 * found.rate.value)

    @pytest.mark.parametrize(
        "rows", [((0.0, 40.0, 1.0), (2.0, 10.0, 1.0)), ((0.0, 10.0, 1.0), (1.0, 90.0, 1.0))], ids=["shorter", "leap"]
    )
    def test_what_no_hair_does_is_said(self, rows: tuple[tuple[float, float, float], ...]) -> None:
        found = regrowth([roots(*rows)])
        assert found.why_not == "not grown"
        assert found.rate == PUBLISHED_RATE
        assert "did not change as hair grows" in say_no_date(forecast(found, 50.0).why_not)
        with pytest.raises(ValueError, match="no photo"):
            found.length(np.array([1.0]))


class TestForecast:
    FOUND = regrowth([roots((0.0, 0.0, 1.0), (2.0, 22.0, 1.5))], covered=True)

    def test_by_hand(self) -> None:
        # 11 mm a month and nothing at the start: 44 mm in month 4
        found = forecast(self.FOUND, 44.0)
        assert found.given
        assert found.early is not None
        assert found.middle is not None
        assert found.late is not None
        assert found.middle == pytest.approx(4.0, abs=0.15)
        assert found.early < found.middle < found.late

    def test_a_known_start_leaves_the_doubt_of_the_rate(self) -> None:
        found = forecast(Regrowth(PUBLISHED_RATE, Measured(0.0, 0.0, "mm"), 0.0, 0.0, False), 22.0)
        assert found.given
        assert found.middle == pytest.approx(2.0, abs=0.05)
        # the 90 % point of the normal distribution is 1.2816 (any table)
        assert found.early == pytest.approx(22 / (11 + 1.2816 * 2.8), abs=0.03)
        assert found.late == pytest.approx(22 / (11 - 1.2816 * 2.8), abs=0.05)

    @pytest.mark.parametrize(
        ("found", "limit", "words"),
        [
            (FOUND, math.nan, "No root has that length"),
            (FOUND, -1.0, "No root has that length"),
            (FOUND, 1e6, "No root has that length"),
            (FOUND, 900.0, "will most likely not be passed"),
            (FOUND, 10.0, "was passed before the last photo"),
            (FOUND, 0.0, "too close"),
            (regrowth([]), 20.0, "No photo since the service"),
        ],
    )
    def test_says_no_and_why(self, found: Regrowth, limit: float, words: str) -> None:
        answer = forecast(found, limit)
        assert not answer.given
        assert words in say_no_date(answer.why_not)


class TestRootLength:
    @pytest.mark.parametrize(("root", "lengths"), [(30.0, 55.0), (50.0, 28.0)], ids=["dark root", "light root"])
    def test_drawn_roots(self, root: float, lengths: float) -> None:
        found = root_length(profile(root, lengths, 0.3), PATH)
        assert found is not None
        # by hand: a tenth of the rise lies 2.2 widths before its middle, on a path of 300 mm
        assert abs(found.value - 300 * (0.3 - math.log(9) * 0.02)) < 1.96 * found.u
        assert found.u < 15

    def test_hair_of_one_colour_has_no_root(self) -> None:
        assert root_length(profile(40.0, 40.0, 0.3), PATH) is None
        assert root_length([], PATH) is None

    def test_without_a_scale(self) -> None:
        assert root_length(profile(30.0, 55.0, 0.3), None) is None

    def test_rendered_months_recover_how_fast_that_hair_grows(self) -> None:
        # the renderer let 11 mm a month grow above paint that starts 125 mm from the scalp; the marked path leaves
        # the first 20 mm out (sample_images/make/scenes.json, truth.json)
        rows = []
        for file, photo in TRUTH.items():
            if file != "noor_after_daylight.jpg" and photo["role"] != "progress":
                continue
            found = root_length(ribbon_reading(file).profile, of_photo(photo).path)
            assert found is not None
            painted = 125.0 - 10 * photo["path_arc_cm"][0] + (photo["regrowth_mm"] or 0.0)
            # what shows first is the paint, or as far into its melt of 190 mm as a tenth of its rise
            assert painted - 1.96 * found.u < found.value < painted + 95.0 + 1.96 * found.u
            rows.append((photo["months"] or 0.0, found.value, found.u))
        own = regrowth([roots(*sorted(rows))])
        assert len(rows) == 6
        assert abs(own.rate.value - 11.0) < 1.96 * own.rate.u
        assert own.rate.u < PUBLISHED_RATE.u
