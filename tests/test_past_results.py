"""What came of earlier visits: middles, their intervals, and cases that lie beyond the scale."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.test_photo_set import record
from tests.test_replicates import AT, photos
from tests.test_wear_segments import VISITS
from tracker.calibrate.level import DEFAULT_SCALE, LevelScale
from tracker.calibrate.warmth import DEFAULT_LOCUS, undertone, warmth_value
from tracker.compare.past_results import AT_LEAST, AT_MOST, Outcome, middle, outcomes_of, summarise
from tracker.maths.quantities import LabMeasured
from tracker.measure.reading import RIBBON, WHOLE
from tracker.record.records import BEFORE

SMALL = ((0.04, 0.0, 0.0), (0.0, 0.04, 0.0), (0.0, 0.0, 0.04))
EXACT = ((0.0, 0.0, 0.0),) * 3
VISIT = VISITS[0]
LINE = LevelScale("plain", 0.0, 10.0, 0.2, 0.1, provisional=False, cov=EXACT)


def outcome(before: float, after: float, *, number: int = 0, tone: tuple[float, float] = (5.0, 15.0)) -> Outcome:
    first, second = LabMeasured((before, *tone), SMALL), LabMeasured((after, *tone), SMALL)
    return Outcome(f"{number:04}", "mid", date(2026, 1, 1), ("toner",), first, second, first, second)


@given(st.lists(st.floats(-20, 20), min_size=3, max_size=60))
def test_median_and_interval_against_scipy(values: list[float]) -> None:
    found = middle(values)
    assert found is not None
    assert found.median == pytest.approx(np.median(values))
    if len(values) < 6:
        # no interval of 95 % exists: 1 - 2 * 0.5 ** 5 is 0.9375, and of six values it is 0.96875
        assert found.coverage == pytest.approx(1 - 2 * 0.5 ** len(values))
        assert (found.low, found.high) == (min(values), max(values))
        return
    # scipy.stats.quantile_test: the same interval from order statistics, Conover 1999
    reference = stats.quantile_test(values, q=0.0, p=0.5).confidence_interval(0.95)
    assert (found.low, found.high) == (reference.low, reference.high)
    assert found.coverage >= 0.95


def test_the_interval_of_six() -> None:
    # 1 - 2 * 0.5 ** 6 = 0.96875: binomial, worked by hand
    found = middle([1, 2, 3, 4, 5, 6])
    assert found is not None
    assert (found.low, found.high, found.coverage) == (1, 6, 0.96875)


def test_the_interval_holds_the_median_as_often_as_it_says() -> None:
    rng = np.random.default_rng(7)
    samples = rng.lognormal(size=(3000, 15))  # its median is 1
    found = [middle(row.tolist()) for row in samples]
    held = np.mean([one is not None and one.low <= 1 <= one.high for one in found])
    assert found[0] is not None
    # binomial scatter of the share over 3000 samples, four standard errors
    assert held == pytest.approx(found[0].coverage, abs=4 * math.sqrt(0.05 * 0.95 / 3000))


# three is a choice of our own, and so stated in `past_results`: of one or two, a middle and a spread are the cases
@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_give_no_middle(count: int) -> None:
    results = summarise([outcome(30, 40, number=n) for n in range(count)])
    assert len(results.cases) == count
    assert results.lift is None
    assert results.warmth is None


def test_three_give_a_middle() -> None:
    assert summarise([outcome(30, 40, number=n) for n in range(3)]).lift is not None


def test_quartiles() -> None:
    # Hyndman and Fan 1996, type 7, of 1..9: 3 and 7
    found = middle([float(value) for value in range(9, 0, -1)])
    assert found is not None
    assert (found.spread_low, found.spread_high, found.quarters) == (3, 7, True)


def test_lift_and_warmth_of_cases() -> None:
    level = LINE.lightness
    pairs = [(4.0, 5.0), (4.0, 6.0), (4.0, 9.0)]
    results = summarise([outcome(level(a), level(b), number=n) for n, (a, b) in enumerate(pairs)], scale=LINE)
    assert sorted(case.lift.value.value for case in results.cases if case.lift.value) == pytest.approx([1, 2, 5])
    assert results.lift is not None
    assert results.lift.median == pytest.approx(2)
    assert results.lift.bound == ""
    for case in results.cases:
        assert case.start == pytest.approx(4)
        assert case.warmth == pytest.approx(warmth_value(case.outcome.after.lab))


def test_a_lift_is_as_sure_as_what_stays_between_its_two_lightnesses() -> None:
    # worked by hand: on this scale a level is 0.2 L* of each L*, so L* 20 ± 0.4 and 40 ± 1.2 are 0.1 and 0.15 levels
    def colour(lightness: float, u: float, tone_u: float) -> LabMeasured:
        return LabMeasured((lightness, 5.0, 15.0), ((u * u, 0.0, 0.0), (0.0, tone_u**2, 0.0), (0.0, 0.0, tone_u**2)))

    alone = colour(20.0, 5.0, 5.0), colour(40.0, 5.0, 5.0)
    pair = colour(20.0, 0.4, 3.0), colour(40.0, 1.2, 2.0)
    (case,) = summarise([Outcome("a", "mid", date(2026, 1, 1), (), *alone, *pair)], scale=LINE).cases
    assert case.start == pytest.approx(1 + math.log(2) / 0.2)
    assert case.lift.value is not None
    assert case.lift.value.value == pytest.approx(math.log(2) / 0.2)
    assert case.lift.value.u == pytest.approx(math.hypot(0.1, 0.15))


def test_many_warmths_at_once() -> None:
    rng = np.random.default_rng(3)
    labs = np.column_stack([rng.uniform(2, 95, 200), rng.normal(5, 8, 200), rng.normal(15, 12, 200)])
    one_by_one = [warmth_value(lab, DEFAULT_LOCUS) for lab in labs]
    np.testing.assert_allclose(warmth_value(labs), one_by_one, atol=1e-9)


def test_cases_beyond_the_scale_leave_the_middle_open() -> None:
    level = LINE.lightness
    inside = [outcome(level(4), level(4 + lift), number=lift) for lift in (1, 2)]
    beyond = [outcome(level(8.5), level(10) + 20 + n, number=9 + n) for n in range(3)]  # lift of 1.5 or more
    results = summarise([*inside, *beyond], scale=LINE)
    assert results.lift is not None
    assert results.lift.bound == AT_LEAST
    assert results.lift.median == pytest.approx(1.5, abs=0.2)


def test_open_cases_on_one_side_of_the_middle_do_not_move_it() -> None:
    level = LINE.lightness
    inside = [outcome(level(4), level(4 + 0.1 * n), number=n) for n in range(1, 8)]
    beyond = [outcome(level(5), level(10) + 20, number=20)]
    results = summarise([*inside, *beyond], scale=LINE)
    assert results.lift is not None
    assert results.lift.bound == ""


def test_darkening_beyond_the_scale_is_open_downwards() -> None:
    level = LINE.lightness
    results = summarise([outcome(level(2), level(1) - 3, number=n) for n in range(3)], scale=LINE)
    assert results.lift is not None
    assert results.lift.bound == AT_MOST
    assert results.lift.median < 0


def test_undertone_narrows() -> None:
    orange, yellow = (10.0, 18.0), (3.0, 25.0)
    cases = [outcome(45, 55, number=n, tone=orange if n < 4 else yellow) for n in range(10)]
    name = undertone(cases[0].before)
    assert name is not None
    assert name != undertone(cases[9].before)
    assert len(summarise(cases, name).cases) == 4


def test_lifts_along_a_ribbon_and_over_the_whole_hair_are_never_in_one_middle() -> None:
    ribbon = [outcome(30.0, 40.0, number=number) for number in range(3)]
    whole = [replace(outcome(30.0, 60.0, number=number), hair=WHOLE) for number in range(10, 14)]
    found = summarise([*ribbon, *whole], scale=LINE)
    assert (found.hair, found.left_out, [case.outcome.hair for case in found.cases]) == (WHOLE, 3, [WHOLE] * 4)
    assert found == replace(summarise(whole, scale=LINE), left_out=3)
    fewer = summarise([*ribbon, *whole[:2]], scale=LINE)
    assert (fewer.hair, fewer.left_out, len(fewer.cases)) == (RIBBON, 2, 3)
    assert fewer.lift == summarise(ribbon, scale=LINE).lift
    # as many of each: the whole hair
    assert summarise([*ribbon, *whole[:3]], scale=LINE).hair == WHOLE


def test_a_visit_read_in_two_ways_has_no_lift() -> None:
    row = [record(shot, minute) for minute, shot in enumerate(photos(np.stack([AT, AT + np.array([9.0, 0.0, 0.0])])))]
    pair = [replace(row[0], role=BEFORE), row[1]]
    assert [each.hair for each in outcomes_of(VISIT, pair)] == [RIBBON] * len(outcomes_of(VISIT, pair)) != []
    both = [replace(shot, reading=replace(shot.reading, hair=WHOLE)) for shot in pair if shot.reading is not None]
    assert {each.hair for each in outcomes_of(VISIT, both)} == {WHOLE}
    assert outcomes_of(VISIT, [pair[0], both[1]]) == outcomes_of(VISIT, [both[0], pair[1]]) == ()


def test_newest_first() -> None:
    cases = [outcome(30, 40, number=n) for n in range(3)]
    found = summarise(cases, scale=DEFAULT_SCALE).cases
    assert [case.outcome.visit_id for case in found] == ["0002", "0001", "0000"]
