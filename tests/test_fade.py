"""Wear of one service: certified and published curves, calibration by simulation, and the right to say no."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from tests.fade_evidence import log_evidence
from tests.golden_tables import read_table
from tests.samples import ribbon_reading, whole_reading
from tests.test_transition import TRUTH
from tracker.errors import InvalidEntry, InvalidSeries, TooFewReadings
from tracker.fade import FadeFit, FadeSeries, Priors, fade_from_csv, fit_fade, months_between
from tracker.fade.mixture import mixture_quantile
from tracker.fade.posterior import DEFAULT_PRIORS, PRIORS_BY_UNIT, design, linear_part
from tracker.measure.reading import PhotoReading
from tracker.said.wear import say_no_rate

WASHES_A_MONTH = 12.0  # common practice, no source: three washes a week
DEFAULT_U = (0.8, 0.35, 0.45)
ONE_EXPONENTIAL = Priors(1000.0, 0.0, 4.0, 3.0)
"""Says next to nothing of the size and the rate."""


def wash_series(shade: str, chelant: str, *, start: bool = True) -> FadeSeries:
    """A row of the published wash table in months; at wash 0 the difference to itself is none."""
    rows = [row for row in read_table("fade_washes.csv") if (row["shade"], row["chelant"]) == (shade, chelant)]
    months = tuple(float(row["washes"]) / WASHES_A_MONTH for row in rows)
    values, u = (tuple(float(row[column]) for row in rows) for column in ("dE", "u"))
    if start:
        return FadeSeries((0.0, *months), (0.0, *values), (0.05, *u), shade, "dE")
    return FadeSeries(months, values, u, shade, "dE")


def rms_to_readings(fit: FadeFit) -> float:
    """Root mean square of curve minus readings after the start."""
    months, values = np.array(fit.series.months[1:]), np.array(fit.series.values[1:])
    return float(np.sqrt(np.mean((fit.mean(months) - values) ** 2)))


def curve(months: np.ndarray, start: float, amplitude: float, rate: float, slope: float) -> np.ndarray:
    return start + amplitude * (1 - np.exp(-rate * months)) + slope * months


def toner(n: int, u: float, seed: int, *, end: float = 5.0) -> FadeSeries:
    """Simulated L* of a toned head: 6 up with a half-life of a month, then 0.3 a month."""
    rng = np.random.default_rng(seed)
    months = np.linspace(0, end, n)
    return FadeSeries(
        tuple(months), tuple(curve(months, 55, 6, math.log(2), 0.3) + rng.normal(0, u, n)), (u,) * n, "", "L*"
    )


class TestOneExponential:
    """With priors so wide that they say nothing, and no slow part, the curve is that of plain least squares."""

    def test_certified_first_order_curve(self) -> None:
        table = read_table("misra1a.csv")
        # a hundred of the table's x are a month here, and their scatter is the certified residual deviation
        months = tuple(float(r["x"]) / 100 for r in table)
        values, u = tuple(float(r["y"]) for r in table), math.sqrt(1.2455138894e-01 / 12)
        # the certified curve begins at nothing
        series = FadeSeries((0.0, *months), (0.0, *values), (1e-3, *(u,) * len(table)))
        fit = fit_fade(series, Priors(400.0, 0.0, 0.05, 0.5))
        amplitude, rate = fit.posterior.weights @ fit.posterior.coefficients[:, 1], fit.posterior.rate_quantile(0.5)
        sd = (fit.posterior.rate_quantile(0.975) - fit.posterior.rate_quantile(0.025)) / (2 * 1.959964)
        # values certified by NIST, quoted at the top of the table; the middle of what is likely lies that near the best
        assert rate / 100 == pytest.approx(5.5015643181e-04, abs=0.05 * 7.2668688436e-06)
        assert sd / 100 == pytest.approx(7.2668688436e-06, rel=0.02)
        assert amplitude == pytest.approx(2.3894212918e02, abs=0.05 * 2.7070075241)
        assert fit.residual_rms == pytest.approx(math.sqrt(1.2455138894e-01 / 15), rel=1e-3)

    @pytest.mark.parametrize(
        ("chelant", "amplitude", "rate"),
        # own fits to the published table through zero, in washes, computed independently of this code
        [("no", 5.89, 0.369), ("yes", 5.84, 0.226)],
    )
    def test_wash_table(self, chelant: str, amplitude: float, rate: float) -> None:
        series = wash_series("brown", chelant)
        sharp = replace(series, u=(1e-4, *(0.01,) * 4))
        fit = fit_fade(sharp, ONE_EXPONENTIAL)
        assert fit.posterior.weights @ fit.posterior.coefficients[:, 1] == pytest.approx(amplitude, abs=0.005)
        assert fit.posterior.rate_quantile(0.5) / WASHES_A_MONTH == pytest.approx(rate, abs=5e-4)
        # those fits leave 0.31; with a slow part 0.06 and 0.07
        assert rms_to_readings(fit) == pytest.approx(0.31, abs=0.01)
        assert rms_to_readings(fit_fade(sharp, replace(ONE_EXPONENTIAL, slope=100.0))) == pytest.approx(0.065, abs=0.01)


class TestShapes:
    """Which shape the readings make likely: a part is taken out by a prior that holds it at nothing."""

    PRIORS = PRIORS_BY_UNIT["dE"]

    def assert_fast_then_slow(self, series: FadeSeries) -> None:
        both = log_evidence(series, self.PRIORS)
        assert both > log_evidence(series, replace(self.PRIORS, slope=0.0))
        assert both > log_evidence(series, replace(self.PRIORS, amplitude=0.0)) + 10

    @pytest.mark.parametrize("chelant", ["no", "yes"])
    def test_brown_prefers_fast_plus_slow(self, chelant: str) -> None:
        self.assert_fast_then_slow(wash_series("brown", chelant))

    def test_blue_wool_is_fast_then_slow_too(self) -> None:
        table = read_table("fade_blue_wool.csv")
        months, values = (tuple(float(r[column]) for r in table) for column in ("dose", "dE"))
        self.assert_fast_then_slow(FadeSeries(months, values, (1e-3, *(0.1,) * 6), unit="dE"))

    def test_one_exponential_is_enough_where_it_is_the_truth(self) -> None:
        months = np.linspace(0, 6, 12)
        series = FadeSeries(tuple(months), tuple(curve(months, 50, 6, 1.0, 0.0)), (0.3,) * 12, unit="L*")
        assert log_evidence(series, replace(DEFAULT_PRIORS, slope=0.0)) > log_evidence(series, DEFAULT_PRIORS)


class TestPosterior:
    def test_line_is_the_limit_without_a_fast_part(self) -> None:
        # JCGM 100:2008, H.3: with s 0.0035 taken as known, flat priors and no fast part
        table = read_table("gum_h3.csv")
        months = tuple(float(r["t"]) - 20 for r in table)
        series = FadeSeries(months, tuple(float(r["correction"]) for r in table), (0.0035,) * 11)
        fit = fit_fade(series, Priors(amplitude=0.0, slope=100.0))
        low, high = fit.band([0.0, 10.0], 0.95)
        np.testing.assert_allclose(fit.mean([0.0, 10.0]), [-0.1712, -0.1494], atol=1e-4)
        np.testing.assert_allclose((high - low) / 2 / 1.96, [0.0029, 0.0041], atol=1e-4)

    def test_evidence_against_direct_integration(self) -> None:
        # readings are normal given k once y0, A, B are integrated: covariance u² + sA² f f' + sB² t t', and
        # a flat y0 is the limit of a wide one
        series, priors = toner(4, 0.5, 1), Priors(3.0, 0.4)
        t, y, rate, wide = np.array(series.months), np.array(series.values), 0.8, 1e4
        fast = 1 - np.exp(-rate * t)
        from scipy.stats import multivariate_normal

        def direct(amplitude: float) -> float:
            cov = 0.25 * np.eye(4) + wide**2 + amplitude**2 * np.outer(fast, fast) + 0.16 * np.outer(t, t)
            return float(multivariate_normal.logpdf(y - 55, cov=cov))

        rows = design(t, np.array([rate]))
        difference = linear_part(series, priors, rows)[0][0] - linear_part(series, Priors(1.0, 0.4), rows)[0][0]
        assert difference == pytest.approx(direct(3.0) - direct(1.0), abs=1e-4)

    def test_grid_is_fine_enough_for_sharp_readings(self) -> None:
        months = np.linspace(0, 6, 24)
        series = FadeSeries(tuple(months), tuple(curve(months, 50, 8, 0.9, 0.2)), (0.002,) * 24, unit="L*")
        fit = fit_fade(series)
        assert fit.rate is not None
        assert fit.rate.median == pytest.approx(0.9, abs=0.003)
        # first-order error of the rate of the same model by least squares
        from scipy.optimize import curve_fit

        _, cov = curve_fit(curve, months, series.values, p0=(50, 8, 0.9, 0.2), sigma=series.u, absolute_sigma=True)
        assert (fit.rate.high - fit.rate.low) / (2 * 1.96) == pytest.approx(math.sqrt(cov[2, 2]), rel=0.05)

    @pytest.mark.parametrize("chelant", ["no", "yes"])
    def test_curve_follows_the_wash_table(self, chelant: str) -> None:
        # own independent least-squares fits leave 0.07 and 0.06; priors for real wear may cost as much again
        assert rms_to_readings(fit_fade(wash_series("brown", chelant))) < 0.15

    def test_curve_follows_blue_wool(self) -> None:
        table = read_table("fade_blue_wool.csv")
        for column, unit in (("L", "L*"), ("a", "a*"), ("b", "b*"), ("dE", "dE")):
            series = FadeSeries(
                tuple(float(r["dose"]) for r in table), tuple(float(r[column]) for r in table), (0.1,) * 7, unit=unit
            )
            # 0.15 is the rms of our own fit of this shape to the full data
            assert fit_fade(series).residual_rms < 0.15

    def test_curve_follows_the_second_blue_wool(self) -> None:
        table = read_table("fade_blue_wool_2.csv")
        for column, unit in (("L", "L*"), ("a", "a*"), ("b", "b*"), ("dE", "dE")):
            series = FadeSeries(
                tuple(float(r["dose"]) for r in table), tuple(float(r[column]) for r in table), (0.1,) * 7, unit=unit
            )
            # our own fit of this shape to the full data leaves 0.041
            assert fit_fade(series).residual_rms < 0.06

    def test_washes_and_months_are_the_same_wear(self) -> None:
        # by hand: 6 washes a week do in a month what 3 do in two
        months, values = (0.0, 0.5, 1.0, 2.0), (50.0, 52.0, 53.0, 54.0)
        often = fit_fade(FadeSeries(months, values, (0.3,) * 4, unit="L*"), washes_per_week=6.0)
        seldom = fit_fade(FadeSeries(tuple(2 * m for m in months), values, (0.3,) * 4, unit="L*"), washes_per_week=3.0)
        np.testing.assert_allclose(often.band([0.3, 1.5, 4.0]), seldom.band([0.6, 3.0, 8.0]), rtol=1e-9)
        assert fit_fade(seldom.series).band([4.0]) == seldom.band([4.0])

    @pytest.mark.parametrize("washes", [0.0, -1.0, 22.0, math.nan, math.inf])
    def test_washes_that_cannot_be(self, washes: float) -> None:
        with pytest.raises(InvalidEntry, match="washes a week cannot be right"):
            fit_fade(toner(4, 0.5, 3), washes_per_week=washes)

    def test_priors_with_means_are_a_shift_of_the_curve(self) -> None:
        # taking a known fast and slow part off the readings and adding it to the curve is the same for one rate
        series, rate = toner(5, 0.5, 6), 0.8
        t = np.array(series.months)
        rows = design(t, np.array([rate]))
        known = 4 * (1 - np.exp(-rate * t)) + 0.3 * t
        less = FadeSeries(series.months, tuple(np.array(series.values) - known), series.u, unit="L*")
        with_means = Priors(6.0, 1.0, amplitude_mean=4.0, slope_mean=0.3)
        first, second = linear_part(series, with_means, rows), linear_part(less, Priors(6.0, 1.0), rows)
        np.testing.assert_allclose(first[1], second[1] + [[0.0, 4.0, 0.3]], atol=1e-9)
        np.testing.assert_allclose(first[2], second[2], atol=1e-12)
        np.testing.assert_allclose(first[0], second[0], atol=1e-9)

    def test_repeats_at_one_month_are_allowed(self) -> None:
        single = fit_fade(FadeSeries((1.0,), (50.0,), (0.5,)))
        double = fit_fade(FadeSeries((1.0, 1.0), (49.5, 50.5), (0.5 * math.sqrt(2),) * 2))
        np.testing.assert_allclose(double.band([0, 1, 3]), single.band([0, 1, 3]), rtol=1e-6)

    def test_one_reading_gives_the_priors_around_it(self) -> None:
        fit = fit_fade(FadeSeries((0.0,), (50.0,), (0.5,)), Priors(6.0, 1.0))
        low, high = fit.band([0.0, 500.0])
        assert high[0] - low[0] == pytest.approx(2 * 1.96 * 0.5, abs=0.01)
        # far out the slow part rules: 500 months at 1 per month
        assert high[1] - low[1] == pytest.approx(2 * 1.96 * 500, rel=1e-3)

    def test_shape_of_the_answer_follows_the_question(self) -> None:
        fit = fit_fade(toner(4, 0.5, 3))
        assert fit.mean(1.0).shape == ()
        assert fit.band(np.ones((2, 3)))[0].shape == (2, 3)
        assert fit.quantile([1.0, 2.0], 0.5).shape == (2,)

    def test_refuses_months_before_the_service(self) -> None:
        with pytest.raises(ValueError, match="months"):
            fit_fade(toner(4, 0.5, 3)).mean([-0.1])

    @pytest.mark.parametrize("scales", [(-1.0, 1.0), (math.nan, 1.0), (1.0, math.inf)])
    def test_priors_refuse(self, scales: tuple[float, float]) -> None:
        with pytest.raises(ValueError, match="priors"):
            Priors(*scales)

    def test_priors_go_by_unit(self) -> None:
        assert fit_fade(FadeSeries((0.0,), (5.0,), (0.2,), unit="level")).priors is PRIORS_BY_UNIT["level"]
        assert fit_fade(FadeSeries((0.0,), (5.0,), (0.2,), unit="b*")).priors is DEFAULT_PRIORS


def test_what_is_held_likely_before_any_photo_reaches_as_far_as_published_differences() -> None:
    # Locke & Jachowicz 2005, J Cosmet Sci 56:407: colour differences of 7 to 16 after light and washing. So the least
    # of them is no surprise and no matter of course either, and the largest is rare: two-sided, of a normal spread
    def beyond(size: float) -> float:
        return math.erfc(size / PRIORS_BY_UNIT["dE"].amplitude / math.sqrt(2))

    assert 0.2 < beyond(7.0) < 0.6
    assert 0.01 < beyond(16.0) < 0.2


class TestCalibration:
    def test_bands_and_half_lives_hold_the_truth_as_often_as_they_say(self) -> None:
        rng, priors = np.random.default_rng(10), DEFAULT_PRIORS
        inside, half_lives = [], []
        for _ in range(800):
            n = int(rng.integers(2, 9))
            months, u = np.append(0.0, np.sort(rng.uniform(0, 6, n - 1))), rng.uniform(0.2, 1.2, n)
            rate = priors.rate_median * math.exp(priors.rate_spread * rng.standard_normal())
            truth = (rng.uniform(10, 70), priors.amplitude * rng.standard_normal(), rate, priors.slope * rng.normal())
            values = curve(months, *truth) + u * rng.standard_normal(n)
            fit = fit_fade(FadeSeries(tuple(months), tuple(values), tuple(u), unit="L*"))
            unseen = rng.uniform(0, 9, 5)
            low, high = fit.band(unseen)
            inside.append((low < curve(unseen, *truth)) & (curve(unseen, *truth) < high))
            if fit.half_life:
                half_lives.append(fit.half_life.low < math.log(2) / rate < fit.half_life.high)
        # 95 % nominal; 800 series give a standard error below 1 %
        assert 0.93 < np.mean(inside) < 0.97
        # given only where the readings carry one: fewer, so the bounds are wider
        assert len(half_lives) > 50
        assert 0.88 < np.mean(half_lives) <= 1.0


class TestSampleSeries:
    """The rendered months of `sample_images`, measured like any photo, against what the renderer was told."""

    FILES = ("noor_after_daylight.jpg", *(f"noor_month_{month}.jpg" for month in ("0_7", "1_6", "2_9", "4_4", "6_0")))

    def worn(self, read: Callable[[str], PhotoReading]) -> tuple[tuple[float, ...], FadeFit]:
        """b* of the ends, and the curve through it."""
        ends = [read(file).region("end") for file in self.FILES]
        months = tuple(TRUTH[file]["months"] or 0.0 for file in self.FILES)
        b, u = zip(*((end.lab.lab[2], math.sqrt(end.repeat_cov[2][2])) for end in ends if end), strict=True)
        return b, fit_fade(FadeSeries(months, b, u, "ends", "b*"))

    @pytest.mark.parametrize("read", [ribbon_reading, whole_reading])
    def test_recovers_the_rendered_rate(self, read: Callable[[str], PhotoReading]) -> None:
        _, fit = self.worn(read)
        # three fifths of the toner wear off with a time constant of half a month: sample_images/make/scenes.json
        low, high = fit.posterior.rate_quantile(0.025), fit.posterior.rate_quantile(0.975)
        assert low < 1 / 0.5 < high
        assert fit.posterior.rate_quantile(0.5) == pytest.approx(1 / 0.5, rel=0.25)
        # three readings in the first three months bound the rate from below only, and it says so
        assert "over before the second photo" in say_no_rate(fit.refusal)

    def test_recovers_the_rendered_colour(self) -> None:
        truth = [TRUTH[file] for file in self.FILES]
        b, fit = self.worn(ribbon_reading)  # along the line whose true colours are known
        true = np.array([photo["regions"]["end"]["lab"][2] for photo in truth])
        # like the readings but for what they share
        true += np.mean(np.array(b) - true)
        below, above = fit.band(fit.series.months)
        assert np.all((below < true) & (true < above))


class TestRefusals:
    def test_good_readings_give_a_rate(self) -> None:
        fit = fit_fade(toner(10, 0.3, 4))
        assert fit.refusal is None
        assert fit.rate is not None
        assert fit.half_life is not None
        assert fit.half_life.low < 1.0 < fit.half_life.high
        assert fit.rate.low < math.log(2) < fit.rate.high

    def test_the_interval_of_a_rate_holds_rates_only(self) -> None:
        # photos that just carry a rate: mean and standard deviation of k would reach below none
        series = FadeSeries((0.0, 0.3, 1.5, 4.0), (50.0, 54.0, 58.0, 58.5), (0.7,) * 4, unit="L*")
        fit = fit_fade(series)
        assert fit.rate is not None
        rates, weights = fit.posterior.rates, fit.posterior.weights
        mean = float(weights @ rates)
        assert mean - 1.96 * math.sqrt(float(weights @ (rates - mean) ** 2)) < 0
        assert 0 < fit.rate.low < fit.rate.median < fit.rate.high
        assert float(weights[rates < fit.rate.low].sum()) == pytest.approx(0.025, abs=0.01)
        assert float(weights[rates > fit.rate.high].sum()) == pytest.approx(0.025, abs=0.01)
        assert fit.half_life is not None
        assert fit.half_life.low * fit.rate.high == pytest.approx(math.log(2))

    @pytest.mark.parametrize("chelant", ["no", "yes"])
    def test_red_gives_no_rate(self, chelant: str) -> None:
        fit = fit_fade(wash_series("red", chelant))
        assert fit.rate is None
        assert fit.half_life is None
        assert say_no_rate(fit.refusal).startswith("No rate can be given")
        assert "over before the second photo" in say_no_rate(fit.refusal)

    @pytest.mark.parametrize(
        ("series", "why"),
        [
            (FadeSeries((1.0,), (50.0,), (0.5,)), "one photo"),
            (FadeSeries((1.0, 1.0), (50.0, 51.0), (0.5, 0.5)), "one photo"),
            (FadeSeries((0.0, 1.0), (50.0, 60.0), (0.1, 0.1)), "two photos"),
            (FadeSeries((0, 1, 2, 3), (50, 50.2, 49.9, 50.1), (0.5,) * 4), "no quick change"),
            (FadeSeries((0, 1, 2, 3, 4), (50, 58, 58, 58, 58), (0.4,) * 5), "over before the second photo"),
            (FadeSeries((0, 1, 2, 3, 4, 5), (50, 60, 52, 61, 51, 62), (0.3,) * 6), "jump"),
            (FadeSeries(tuple(np.arange(9)), tuple(50 + 3.0 * np.arange(9)), (0.3,) * 9), "no quick change"),
            (FadeSeries((0.0, 0.5, 2.5, 5.5), (49.3, 50.9, 55.9, 58.1), (1.0,) * 4, unit="L*"), "moved evenly"),
            (FadeSeries((0, 1.5, 3, 4.5, 6), (48.7, 50.7, 52.4, 54, 53.3), (0.5,) * 5, unit="L*"), "add too little"),
        ],
        ids=["one", "repeat", "two", "still", "over at once", "jumping", "straight", "nearly straight", "vague"],
    )
    def test_says_no_and_why(self, series: FadeSeries, why: str) -> None:
        fit = fit_fade(series)
        assert fit.rate is None
        assert fit.half_life is None
        assert why in say_no_rate(fit.refusal)


readings = st.lists(st.tuples(st.floats(0, 24), st.floats(-50, 150), st.floats(0.05, 5)), min_size=1, max_size=6).map(
    lambda rows: FadeSeries(*zip(*sorted(rows), strict=True))
)


class TestProperties:
    @settings(max_examples=60)
    @given(readings, st.floats(-200, 200))
    def test_a_shift_of_all_readings_shifts_the_curve(self, series: FadeSeries, shift: float) -> None:
        shifted = FadeSeries(series.months, tuple(v + shift for v in series.values), series.u)
        months = [0.0, 1.0, 12.0]
        first, second = fit_fade(series), fit_fade(shifted)
        np.testing.assert_allclose(second.mean(months), first.mean(months) + shift, atol=1e-4)
        np.testing.assert_allclose(second.band(months), np.array(first.band(months)) + shift, atol=1e-4)

    @settings(max_examples=60)
    @given(readings, st.floats(1.1, 10), st.floats(0.01, 20))
    def test_more_uncertain_readings_leave_the_curve_less_known(
        self, series: FadeSeries, factor: float, rate: float
    ) -> None:
        # for a given rate; over all rates readings that contradict the priors can do the reverse
        vaguer = FadeSeries(series.months, series.values, tuple(u * factor for u in series.u))
        rows = design(np.array(series.months), np.array([rate]))
        before = linear_part(series, DEFAULT_PRIORS, rows)[2][0]
        after = linear_part(vaguer, DEFAULT_PRIORS, rows)[2][0]
        assert np.linalg.eigvalsh(after - before).min() > -1e-8 * np.abs(after).max()

    @settings(max_examples=40)
    @given(st.integers(2, 7), st.floats(0.1, 1.5), st.floats(2, 5))
    def test_band_widens_with_the_uncertainty(self, n: int, u: float, factor: float) -> None:
        months, values = tuple(np.linspace(0, 5, n)), (50.0,) * n
        grid = np.linspace(0, 8, 9)
        narrow = np.subtract(*fit_fade(FadeSeries(months, values, (u,) * n)).band(grid)[::-1])
        wide = np.subtract(*fit_fade(FadeSeries(months, values, (u * factor,) * n)).band(grid)[::-1])
        assert np.all(wide > narrow)

    @settings(max_examples=100)
    @given(
        st.lists(
            st.tuples(st.floats(0, 600), st.floats(-1000, 1000), st.floats(1e-4, 1000)), min_size=1, max_size=6
        ).map(lambda rows: FadeSeries(*zip(*sorted(rows), strict=True)))
    )
    def test_never_not_a_number(self, series: FadeSeries) -> None:
        fit = fit_fade(series)
        months = [0.0, 0.5, series.months[-1], 600.0]
        low, high = fit.band(months)
        assert np.all(np.isfinite([low, high, fit.mean(months), fit.quantile(months, 0.5)]))
        assert np.all(low <= high)
        assert math.isfinite(fit.residual_rms)
        assert (fit.rate is None) == (fit.half_life is None) == (fit.refusal is not None)


class TestMixture:
    def test_one_part_is_normal(self) -> None:
        # 1.960 is the 97.5 % point of the normal distribution (any table)
        quantile = mixture_quantile(np.array([1.0]), np.array([[3.0]]), np.array([[2.0]]), 0.975)
        assert quantile[0] == pytest.approx(3 + 2 * 1.959964, abs=1e-5)

    @settings(max_examples=100)
    @given(
        st.lists(st.tuples(st.floats(0.01, 1), st.floats(-100, 100), st.floats(1e-3, 50)), min_size=1, max_size=5),
        st.floats(0.005, 0.995),
    )
    @example(
        [(1.0, 0.0, 1.0), (1.0, -25.0, 8.0), (1.0, -31.0, 10.0), (0.5, -27.0, 1.0)], 0.375
    )  # went round in a circle
    def test_quantile_undoes_probability(self, parts: list[tuple[float, float, float]], probability: float) -> None:
        weights, mean, sd = (np.array(column) for column in zip(*parts, strict=True))
        weights = weights / weights.sum()
        x = mixture_quantile(weights, mean[None], sd[None], probability)[0]
        above = norm.sf(float(x), mean, sd) @ weights  # of the normal distribution, by scipy.stats
        assert above == pytest.approx(1 - probability, abs=1e-5)

    @pytest.mark.parametrize("probability", [0.0, 1.0, math.nan])
    def test_refuses(self, probability: float) -> None:
        with pytest.raises(ValueError, match="probability"):
            mixture_quantile(np.array([1.0]), np.array([[0.0]]), np.array([[1.0]]), probability)


class TestSeries:
    def test_nothing(self) -> None:
        with pytest.raises(TooFewReadings):
            FadeSeries((), (), ())

    @pytest.mark.parametrize(
        ("months", "values", "u", "says"),
        [
            ((0.0, 1.0), (1.0,), (1.0, 1.0), "2 dates, 1 readings"),
            ((1.0, 0.5), (1.0, 2.0), (1.0, 1.0), "Reading 2 was taken before reading 1"),
            ((-1.0,), (1.0,), (1.0,), "Reading 1 was taken 30 days before the service"),
            ((-0.01,), (1.0,), (1.0,), "taken less than a day before the service"),
            ((-math.inf,), (1.0,), (1.0,), "taken years before the service"),
            ((math.nan,), (1.0,), (1.0,), "Reading 1 has no date"),
            ((math.inf,), (1.0,), (1.0,), "more than 50 years after the service"),
            ((0.0, 1.0), (1.0, math.nan), (1.0, 1.0), "Reading 2 has no number"),
            ((0.0,), (1e9,), (1.0,), "Reading 1 is 1e\\+09, which no hair can have"),
            ((0.0,), (1.0,), (0.0,), "Reading 1 has no ±"),
            ((0.0,), (1.0,), (1e4,), "± so large"),
            ((0.0,), (1.0,), (-0.1,), "has no ±"),
            ((0.0,), (1.0,), (math.nan,), "has no ±"),
        ],
    )
    def test_refuses(
        self, months: tuple[float, ...], values: tuple[float, ...], u: tuple[float, ...], says: str
    ) -> None:
        with pytest.raises(InvalidSeries, match=says):
            FadeSeries(months, values, u)

    def test_months_between(self) -> None:
        # a year of 365.25 days has twelve months
        assert months_between(datetime(2023, 1, 1, tzinfo=UTC), datetime(2027, 1, 1, tzinfo=UTC)) == 48.0
        assert months_between(datetime(2024, 3, 1, tzinfo=UTC), datetime(2024, 2, 29, tzinfo=UTC)) == pytest.approx(
            -1 / 30.4375
        )


class TestCsv:
    def test_lab(self) -> None:
        series = fade_from_csv("months,L,a,b,uL\n0,50,5,20,0.5\n1.5,53,4,22,0.6\n", DEFAULT_U)
        assert list(series) == ["L*", "a*", "b*"]
        assert series["L*"] == FadeSeries((0.0, 1.5), (50.0, 53.0), (0.5, 0.6), "L*", "L*")
        assert series["b*"].u == (0.45, 0.45)

    def test_one_value(self) -> None:
        series = fade_from_csv("months,value,note\n0,6.1,after\n2,6.8,\n", DEFAULT_U)
        assert series == {"value": FadeSeries((0.0, 2.0), (6.1, 6.8), (0.8, 0.8), "value", "")}

    @pytest.mark.parametrize(
        "text",
        [
            "\ufeffmonths,value,u\r\n0,1.5,0.2\r\n1,\u22122,0.2\r\n",
            "\n\nMonths , VALUE, U\n\n0,1.5,0.2\n , ,\n1,-2,.2\n\n",
            "months;value;u\n0;1,5;0,2\n1;-2;0,2\n",
            "u\tvalue\tmonths\n0.2\t1.5\t0\n2e-1\t-2.\t1\n",
            'months,"value",u\n"0","1.5","0.2"\n1,-2,0.2',
        ],
        ids=["byte order mark", "blank rows and case", "semicolons", "tabs and another order", "quotes"],
    )
    def test_written_another_way(self, text: str) -> None:
        assert fade_from_csv(text, DEFAULT_U)["value"] == FadeSeries((0.0, 1.0), (1.5, -2.0), (0.2, 0.2), "value", "")

    @pytest.mark.parametrize(
        ("text", "says"),
        [
            ("", "empty"),
            (" \n\n", "empty"),
            ("\ufeff", "empty"),
            ("value\n1\n", "Column months is missing"),
            ("months,L,a\n0,1,2\n", "Column b is missing"),
            ("months,a,b\n0,1,2\n", "Column L is missing"),
            ("months,value,value\n0,1,2\n", "Column value appears twice"),
            ("months,value\n0,1\n1,x\n", "Row 3, column value: “x” is not a number"),
            ("months,value\n0,1\n\n1,\n", "Row 4, column value: is empty"),
            ("months,value\n0\n", "Row 2, column value: is empty"),
            ("months,value\n0,nan\n", "Row 2, column value: “nan” is not a number"),
            ("months,value\n0,inf\n", "not a number"),
            ("months,value\n0,1_0\n", "not a number"),
            ("months,value\n2,1\n1,1\n", "Row 3, column months: months out of order"),
            ("months,value\n-1,1\n", "30 days before the service"),
            ("months,value,u\n0,1,0\n", "has no ±"),
            ("months,L,a,b,uL\n0,1,2,3,\n", "Row 2, column uL: is empty"),
            ('months,value\n0,"1\n', "cannot be read"),
        ],
    )
    def test_says_what_is_wrong_and_where(self, text: str, says: str) -> None:
        with pytest.raises(InvalidSeries, match=says):
            fade_from_csv(text, DEFAULT_U)

    def test_names_but_no_readings(self) -> None:
        with pytest.raises(TooFewReadings, match="no readings"):
            fade_from_csv("months,value\n", DEFAULT_U)

    @settings(max_examples=200)
    @given(st.text(alphabet='months,value;u\t\n\r"01.-\x00é', max_size=60).map(lambda tail: "months,value\n" + tail))
    def test_any_text_is_a_series_or_a_named_error(self, text: str) -> None:
        try:
            series = fade_from_csv(text, DEFAULT_U)
        except (InvalidSeries, TooFewReadings):
            return
        assert len(series["value"]) >= 1
