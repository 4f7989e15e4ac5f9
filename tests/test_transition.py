"""Where the lightening starts and how softly: on curves drawn with a known answer, and on the rendered heads."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tests.samples import KEPT, SAMPLES, ribbon_reading, whole_reading
from tracker.compare.transition import Blend, Interval, find_blend
from tracker.maths.quantities import Measured
from tracker.measure.reading import PhotoReading, ProfilePoint

TRUTH: dict[str, dict[str, Any]] = {photo["file"]: photo for photo in SAMPLES}
Read = Callable[[str], PhotoReading]
WAY = (np.arange(40) + 0.5) / 40


def points(lightness: np.ndarray, u: float = 0.8) -> tuple[ProfilePoint, ...]:
    return tuple(
        ProfilePoint(float(way), (float(light), 5.0, 15.0), u) for way, light in zip(WAY, lightness, strict=True)
    )


def strayed(rng: np.random.Generator, alike: float, spread: float = 0.8) -> np.ndarray:
    """Scatter whose neighbours are alike: an autoregressive series."""
    steps = rng.normal(size=40)
    for k in range(1, 40):
        steps[k] = alike * steps[k - 1] + steps[k] * np.sqrt(1 - alike**2)
    return spread * steps


# drawn: middle and width of a logistic rise, and its height; the answers follow from the curve by hand
@pytest.mark.parametrize(
    ("middle", "width", "rise"), [(0.35, 0.05, 20), (0.5, 0.09, 12), (0.3, 0.02, 25), (0.6, 0.1, -8)]
)
def test_the_drawn_rise_is_found(middle: float, width: float, rise: float) -> None:
    shape = 1 / (1 + np.exp(-(WAY - middle) / width))
    rng = np.random.default_rng(3)
    found = find_blend(points(30 + rise * shape + strayed(rng, 0.0, 0.2), u=0.2))
    if rise < 0:
        assert found is None  # darker lengths are no lightening
        return
    assert found is not None
    # a logistic has a tenth of its height ln 9 widths before its middle, and its steepest slope is height / 4 widths
    assert found.start.value == pytest.approx(middle - np.log(9) * width, abs=0.03)
    assert found.steepest.value == pytest.approx(rise / (4 * width), rel=0.15)
    assert not found.from_before


@pytest.mark.parametrize("alike", [0.0, 0.4])
def test_intervals_hold_the_truth(alike: float) -> None:
    rng = np.random.default_rng(4)
    held = np.zeros(2)
    tries = 200
    for _ in range(tries):
        middle, width, rise = rng.uniform(0.3, 0.6), rng.uniform(0.03, 0.08), rng.uniform(10, 25)
        drawn = 30 + rise / (1 + np.exp(-(WAY - middle) / width))
        found = find_blend(points(drawn + strayed(rng, alike)))
        assert found is not None
        held += [
            found.start.low <= middle - np.log(9) * width <= found.start.high,
            found.steepest.low <= rise / (4 * width) <= found.steepest.high,
        ]
    assert np.all(held / tries >= 0.90)


def test_what_is_told_is_the_middle_of_what_is_known() -> None:
    # the truth lies above the stated value as often as below it: half of 100 draws, four standard errors of 5 %
    rng = np.random.default_rng(14)
    above = np.zeros(3)
    for _ in range(100):
        middle, width, rise = rng.uniform(0.35, 0.55), rng.uniform(0.03, 0.06), rng.uniform(15, 25)
        found = find_blend(points(30 + rise / (1 + np.exp(-(WAY - middle) / width)) + strayed(rng, 0.0)))
        assert found is not None
        truth = middle - np.log(9) * width, rise / (4 * width), rise
        above += np.array(truth) > (found.start.value, found.steepest.value, found.rise.value)
    np.testing.assert_allclose(above / 100, 0.5, atol=0.2)


def test_even_hair_has_no_blend() -> None:
    rng = np.random.default_rng(5)
    found = [find_blend(points(30 + strayed(rng, 0.4))) for _ in range(200)]
    assert sum(each is not None for each in found) <= 4


def test_the_shape_of_the_head_drops_out_against_before() -> None:
    rng = np.random.default_rng(6)
    head = 12 * np.sin(np.pi * WAY)  # measured on rendered heads: several L* along a head by its shape alone
    shape = 1 / (1 + np.exp(-(WAY - 0.45) / 0.05))
    before, after = points(30 + head + strayed(rng, 0.0, 0.3)), points(30 + head + 18 * shape + strayed(rng, 0.0, 0.3))
    found = find_blend(after, before)
    assert found is not None
    assert found.from_before
    assert found.start.low <= 0.45 - np.log(9) * 0.05 <= found.start.high
    assert find_blend(before, before) is None


def test_too_few_points_give_nothing() -> None:
    assert find_blend(points(30 + 20 * WAY)[:8]) is None
    assert find_blend(()) is None


def test_centimetres_carry_the_doubt_of_the_length() -> None:
    shape = 1 / (1 + np.exp(-(WAY - 0.4) / 0.05))
    found = find_blend(points(30 + 20 * shape + strayed(np.random.default_rng(7), 0.0, 0.2), u=0.2))
    assert found is not None
    sure, unsure = Measured(400.0, 1.0, "mm"), Measured(400.0, 60.0, "mm")
    # by hand: 40 cm from root to tip
    assert found.per_cm(sure).value == pytest.approx(found.steepest.value / 40)
    assert found.start_mm(sure).value == pytest.approx(400 * found.start.value)
    # by hand: 10 mm are a centimetre, ten tenths the whole way
    assert found.start_cm(unsure).high == pytest.approx(found.start_mm(unsure).high / 10)
    assert found.start_cm(unsure).low == pytest.approx(found.start_mm(unsure).low / 10)
    assert 10 * found.per_tenth.value == pytest.approx(found.steepest.value)
    assert 10 * found.per_tenth.high == pytest.approx(found.steepest.high)
    assert found.per_cm(unsure).high - found.per_cm(unsure).low > 2 * (found.per_cm(sure).high - found.per_cm(sure).low)
    start = found.start_mm(unsure)
    # 60 mm of 400 at 1.96: 29 per cent
    assert (start.high - start.value) / start.value > 0.29


# The renderer paints from 12.5 cm along the hair on, stronger and stronger for 19 cm (sample_images/make/scenes.json),
# and six months let 6.6 cm grow above that.
PAINTED_CM, MELT_CM = 12.5, 19.0


NOOR = [name for name, photo in TRUTH.items() if photo["client"] == "Noor" and photo["role"] != "before"]


@pytest.mark.parametrize(
    ("file", "read"),
    [*((name, ribbon_reading) for name in NOOR), *((name, whole_reading) for name in NOOR if name in KEPT)],
)
def test_the_painting_starts_where_it_was_rendered(file: str, read: Read) -> None:
    found = find_blend(read(file).profile, read("noor_before_daylight.jpg").profile)
    assert found is not None
    photo = TRUTH[file]
    arc = photo["path_arc_cm"]
    grown = (photo["regrowth_mm"] or 0) / 10
    first, last = ((PAINTED_CM + grown + add - arc[0]) / (arc[-1] - arc[0]) for add in (0.0, 0.5 * MELT_CM))
    # a tenth of the rise lies after the first paint and before the middle of the melt
    assert first < found.start.high
    assert found.start.low < last
    # over the whole hair nine of ten starts lie within 0.13 on the bench's heads, and the heights are those of the axis
    assert first - (0.13 if read is whole_reading else 0.03) < found.start.value < last
    # twice: the ends got about 20 L* lighter (truth.json)
    ends = photo["regions"]["end"]["lab"][0] - TRUTH["noor_before_daylight.jpg"]["regions"]["end"]["lab"][0]
    assert found.rise.low - 2 < ends < found.rise.high + 2


@pytest.mark.parametrize("read", [ribbon_reading, whole_reading])
@pytest.mark.parametrize(
    "file", ["noor_before_daylight.jpg", "noor_before_lamp.jpg", "ines_daylight.jpg", "maja_daylight.jpg"]
)
def test_untreated_heads_have_no_blend(file: str, read: Read) -> None:
    assert find_blend(read(file).profile) is None


def test_a_rise_at_the_very_beginning_starts_at_the_root() -> None:
    sure = Interval(12.0, 11.0, 13.0)
    assert Blend(Interval(0.04, 0.0, 0.1), sure, sure, from_before=False).from_the_root
    assert not Blend(Interval(0.06, 0.0, 0.1), sure, sure, from_before=False).from_the_root
