"""Lights and lows, their distribution and the share that was lightened: on hair drawn with a known answer."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import stats

from tests.scenes import marks, photograph, scene
from tracker.compare.lights_and_lows import distribution, is_lightened, shades, share_lightened
from tracker.maths.quantities import Measured
from tracker.measure import measure_photo
from tracker.measure.reading import PhotoReading

BASE = measure_photo(photograph(scene()), marks())
STEPS = np.linspace(0, 1, 21)
SCALE = np.arange(0.0, 101.0)


def drawn(values: np.ndarray) -> PhotoReading:
    """A reading whose stretches hold these pieces, (10, n) L*: some 200 in a stretch, as in a photo."""
    return dataclasses.replace(BASE, stretches=tuple(tuple(map(float, np.quantile(row, STEPS))) for row in values))


def normal(mean: float, spread: float, seed: int = 1, n: int = 200) -> np.ndarray:
    return np.random.default_rng(seed).normal(mean, spread, (10, n))


def test_lights_and_lows_of_a_normal_distribution() -> None:
    # the mean of the upper quarter of a normal distribution lies pdf(q) / 0.25 spreads above the middle
    found = shades(drawn(normal(40, 4)))
    assert found is not None
    away = 4 * stats.norm.pdf(stats.norm.ppf(0.75)) / 0.25
    assert found.lights.value == pytest.approx(40 + away, abs=0.25)
    assert found.lows.value == pytest.approx(40 - away, abs=0.25)
    assert found.dimension.value == pytest.approx(2 * away, abs=0.4)
    # the light moves both alike, so their distance is surer than either
    assert found.dimension.u < found.lights.u


def test_the_curve_is_the_drawn_density() -> None:
    found = distribution(drawn(normal(40, 4)), SCALE)
    assert found is not None
    # a normal density smoothed by the stated kernel of 1.5 L*
    expected = 100 * stats.norm.pdf(SCALE, 40, np.hypot(4, 1.5))
    np.testing.assert_allclose(found.share, expected, atol=0.6)
    assert found.share.sum() == pytest.approx(100, abs=0.5)
    assert np.all(found.low <= found.high)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.6, 0.9])
def test_the_lightened_share_is_the_drawn_one(share: float) -> None:
    before, after = normal(28, 2, seed=1), normal(28, 2, seed=2)
    lighter = np.random.default_rng(3).random(after.shape) < share
    after[lighter] += 20
    found = share_lightened(drawn(before), drawn(after))
    assert found is not None
    assert found.value == pytest.approx(share, abs=0.03)
    assert abs(found.value - share) < 1.96 * max(found.u, 0.02)


def test_the_shape_of_the_head_is_no_lightening() -> None:
    head = 10 * np.sin(np.linspace(0, np.pi, 10))[:, None]
    found = share_lightened(drawn(normal(28, 2, seed=1) + head), drawn(normal(28, 2, seed=2) + head))
    assert found is not None
    assert found.value == pytest.approx(0.0, abs=0.03)


def test_another_photo_of_the_same_hair_stays_inside_what_is_claimed() -> None:
    """Light that differs by what the reading says it may, and pieces drawn anew."""
    u_light = float(np.sqrt(np.mean([region.repeat_cov[0][0] for region in BASE.regions])))
    rng = np.random.default_rng(9)
    first = shades(drawn(normal(35, 3, seed=5)))
    assert first is not None
    held = 0
    for seed in range(60):
        again = shades(drawn(normal(35, 3, seed=100 + seed, n=12) + rng.normal(0, u_light)))
        assert again is not None
        # against the true lights of the drawn distribution, known without any photo
        true = 35 + 3 * stats.norm.pdf(stats.norm.ppf(0.75)) / 0.25
        held += abs(again.lights.value - true) < 1.96 * again.lights.u
    assert held >= 52


def test_measured_hair_goes_through() -> None:
    reading = measure_photo(photograph(scene(spread=3.0)), marks())
    assert len(reading.stretches) == 10
    assert all(list(row) == sorted(row) for row in reading.stretches)
    found = shades(reading)
    assert found is not None
    # drawn from L* 28 at the root to 55 at the tip: the quarters lie well apart
    assert 12 < found.dimension.value < 27


@pytest.mark.parametrize("stretches", [(), ((),) * 10, ((),) * 6 + (tuple(range(21)),) * 4])
def test_too_little_hair_gives_nothing(stretches: tuple[tuple[float, ...], ...]) -> None:
    reading = dataclasses.replace(BASE, stretches=stretches)
    assert shades(reading) is None
    assert distribution(reading, SCALE) is None
    assert share_lightened(BASE, reading) is None


def test_a_photo_without_a_number_gives_nothing() -> None:
    assert shades(dataclasses.replace(BASE, regions=())) is None


def test_a_curve_runs_over_the_whole_of_lightness_where_no_place_is_asked_for() -> None:
    asked, unasked = distribution(drawn(normal(40, 4)), SCALE), distribution(drawn(normal(40, 4)))
    assert asked is not None
    assert unasked is not None
    np.testing.assert_array_equal(unasked.lightness, SCALE)
    np.testing.assert_array_equal(unasked.share, asked.share)


def test_hair_is_called_lightened_beyond_the_margin_only() -> None:
    # 95 % of a normal distribution lie within 1.96 standard deviations
    margin = float(stats.norm.ppf(0.975))
    assert is_lightened(Measured(margin * 0.1 + 0.001, 0.1, "share"))
    assert not is_lightened(Measured(margin * 0.1 - 0.001, 0.1, "share"))
    assert not is_lightened(Measured(0.0, 0.0, "share"))
