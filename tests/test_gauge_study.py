"""The set-up check: what the scatter of photos is made of, against published studies and known truth."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tracker.calibrate.gauge_study import Shot, repeatability_of, study
from tracker.errors import TooFewReadings

# Bland & Altman 1986, Lancet 327:307-310, table 1: peak flow of 17 people, each meter twice, l/min
# (data as distributed with the R package blandr)
LARGE_METER = np.array(
    [
        *([494, 490], [395, 397], [516, 512], [434, 401], [476, 470], [557, 611], [413, 415], [442, 431], [650, 638]),
        *([433, 429], [417, 420], [656, 633], [267, 275], [478, 492], [178, 165], [423, 372], [427, 421]),
    ]
)
MINI_METER = np.array(
    [
        *([512, 525], [430, 415], [520, 508], [428, 444], [500, 500], [600, 625], [364, 460], [380, 390], [658, 642]),
        *([445, 432], [432, 420], [626, 605], [260, 227], [477, 467], [259, 268], [350, 370], [451, 443]),
    ]
)

# Shrout & Fleiss 1979, table 2: six targets, four judges
JUDGES = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])


def values_with_sums(
    shape: tuple[int, int, int], *, part: float, operator: float, cross: float, error: float
) -> np.ndarray:
    """A balanced study whose sums of squares are exactly those given."""
    p, o, r = shape

    def contrast(n: int) -> np.ndarray:
        centred = np.arange(n) - (n - 1) / 2
        return centred / np.sqrt(np.sum(centred**2))

    a, b, c = contrast(p), contrast(o), contrast(r)
    values = np.zeros(shape)
    values += a[:, None, None] * math.sqrt(part / (o * r))
    values += b[None, :, None] * math.sqrt(operator / (p * r))
    values += (a[:, None] * b[None, :])[:, :, None] * math.sqrt(cross / r)
    return values + np.ones((p, o))[:, :, None] * c[None, None, :] * math.sqrt(error / (p * o))


def shots(values: np.ndarray, bands: int = 3) -> list[Shot]:
    """A full table, (hair, people, sessions, repeats), of one number that stands for L*, a* and b* of each band."""
    return [
        Shot(f"hair {p}", f"person {o}", f"day {s}", ((float(value),) * 3,) * bands)
        for (p, o, s, _), value in np.ndenumerate(values)
    ]


def from_truth(
    rng: np.random.Generator,
    shape: tuple[int, int, int, int],
    *,
    person: float = 0.0,
    day: float = 0.0,
    occasion: float = 0.0,
    repeat: float = 0.8,
) -> np.ndarray:
    p, o, s, _ = shape
    hair = rng.uniform(15, 70, (p, 1, 1, 1))
    return (
        hair
        + rng.normal(0, person, (1, o, 1, 1))
        + rng.normal(0, day, (1, 1, s, 1))
        + rng.normal(0, occasion, (p, o, s, 1))
        + rng.normal(0, repeat, shape)
    )


class TestPublished:
    def test_days_of_the_guide(self) -> None:
        # JCGM 100:2008, H.5: ten days of five readings of one standard; within 85 µV; the mean squares give 43 µV
        # between days ((5 x 57² - 85²) / 5)
        means = np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41])
        sds = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86])
        five = np.array([-2, -1, 0, 1, 2]) / math.sqrt(2.5)
        found = study(shots((means[:, None] + sds[:, None] * five)[None, None]))
        assert found.repeat[0] == pytest.approx(85, abs=0.5)
        assert found.session is not None
        assert found.session[0] == pytest.approx(43, abs=0.5)
        assert found.operator is None
        assert found.total[0] == pytest.approx(math.hypot(85, 43), abs=0.8)

    def test_judges_of_shrout_and_fleiss(self) -> None:
        # Shrout & Fleiss 1979, tables 2 and 3: 6 targets, 4 judges; mean squares 32.49 of judges, 1.02 of the rest:
        # judges differ by sqrt((32.49 - 1.02) / 6) = 2.29, one rating by 2.50. One rating each, so their rest is put in
        # as repeats: two that lie 1.02's worth apart within each target and judge
        apart = math.sqrt(1.02 / 2)
        doubled = JUDGES[:, :, None, None] + np.array([-apart, apart])
        found = study(shots(doubled))
        assert found.operator is not None
        assert found.operator[0] == pytest.approx(2.29, abs=0.02)
        assert found.sessions == 1

    def test_paper_helicopters(self) -> None:
        # Cano et al. 2012, chapter 5, as checked in the tests of the R package SixSigma: sums of squares of parts
        # 1.2007, operators 0.0529, pooled error 0.4688 on 22; variances .0213 of repeats, .0006 of operators, .0219
        values = values_with_sums(
            (3, 3, 3), part=1.2007, operator=0.0529, cross=0.4688 * 4 / 22, error=0.4688 * 18 / 22
        )
        found = study(shots(values[:, :, None]))
        assert found.repeat[0] ** 2 == pytest.approx(0.0213, abs=5e-5)
        assert found.operator is not None
        assert found.operator[0] ** 2 == pytest.approx(0.0006, abs=5e-5)
        assert found.total[0] ** 2 == pytest.approx(0.0219, abs=5e-5)
        assert found.occasion == (0.0, 0.0, 0.0)

    def test_an_interaction_that_stands_out_by_hand(self) -> None:
        # mean squares: operators 10/2, interaction 16/4, error 9/18
        found = study(shots(values_with_sums((3, 3, 3), part=40, operator=10, cross=16, error=9)[:, :, None]))
        assert found.repeat[0] ** 2 == pytest.approx(0.5)
        assert found.occasion[0] ** 2 == pytest.approx((4 - 0.5) / 3)
        assert found.operator is not None
        assert found.operator[0] ** 2 == pytest.approx((5 - 4) / 9)

    def test_two_people_are_told_apart_and_the_whole_is_as_sure_as_satterthwaite_says(self) -> None:
        # mean squares by hand: two people 10/1, interaction and error together 7/14 = 0.5; one person's photos are a
        # ninth of the first and eight ninths of the second, so (10/9 + 4/9)² / ((10/9)² / 1 + (4/9)² / 14) = 1.938
        found = study(shots(values_with_sums((3, 2, 3), part=40, operator=10, cross=1, error=6)[:, :, None]))
        assert found.operator is not None
        assert found.operator[0] ** 2 == pytest.approx((10 - 0.5) / 9)
        assert found.dof == pytest.approx(1.938, abs=5e-4)
        assert (found.repeat_dof, found.between_dof) == (14, pytest.approx(1))

    @pytest.mark.parametrize(
        ("cross", "pooled"),
        # F of 4 and 18 degrees of freedom is 1.67 at a chance of 0.20, 3.84 at 0.020, 4.58 at 0.010 (fdtrc of scipy,
        # as any table of it); L*, a* and b* are looked at together, so each at a third of 5 %
        [(4 * 1.67 / 2, True), (4 * 3.83 / 2, True), (4 * 4.58 / 2, False)],
        ids=["0.20", "0.020", "0.010"],
    )
    def test_what_people_do_to_single_hair_counts_where_chance_does_not_explain_it(
        self, cross: float, pooled: bool
    ) -> None:
        found = study(shots(values_with_sums((3, 3, 3), part=40, operator=10, cross=cross, error=9)[:, :, None]))
        assert (found.occasion == (0.0, 0.0, 0.0)) is pooled
        assert found.repeat[0] ** 2 == pytest.approx((cross + 9) / 22 if pooled else 0.5)

    @pytest.mark.parametrize(
        ("pairs", "repeatability"),
        # Bland & Altman 1986: coefficient of repeatability 43.2 and 56.4 l/min (printed, from memory);
        # the data give 43.3 and 56.3 as 2 sqrt(mean d²), that is 2 sqrt(2) times the spread
        [(LARGE_METER, 43.2), (MINI_METER, 56.4)],
        ids=["large meter", "mini meter"],
    )
    def test_peak_flow_meters(self, pairs: np.ndarray, repeatability: float) -> None:
        found = study(shots(pairs[:, None, None]))
        assert 2 * math.sqrt(2) * found.repeat[0] == pytest.approx(repeatability, abs=0.15)
        assert found.dof == 17

    def test_differences_between_heads_do_not_count(self) -> None:
        values = from_truth(np.random.default_rng(9), (6, 1, 1, 3))
        moved = values + np.arange(6.0)[:, None, None, None] * 5
        assert study(shots(moved)).repeat[0] == pytest.approx(study(shots(values)).repeat[0])


class TestTruth:
    def test_people_days_and_repeats_are_told_apart(self) -> None:
        rng = np.random.default_rng(3)
        found = study(shots(from_truth(rng, (6, 30, 30, 2), person=0.6, day=0.9, repeat=0.5)))
        assert found.operator is not None
        assert found.session is not None
        assert found.operator[0] == pytest.approx(0.6, rel=0.3)
        assert found.session[0] == pytest.approx(0.9, rel=0.3)
        assert found.repeat[0] == pytest.approx(0.5, rel=0.03)
        assert found.total[0] == pytest.approx(math.sqrt(0.36 + 0.81 + 0.25), rel=0.2)

    def test_three_photos_of_ten_samples(self) -> None:
        found = study(shots(from_truth(np.random.default_rng(4), (10, 1, 1, 3))))
        # Bland & Altman 1996: 10 x (3 - 1) degrees of freedom, however many bands a photo has
        assert found.dof == 20
        assert (found.operator, found.session, found.left_over) == (None, None, 0)
        assert found.total == found.repeat

    def test_what_people_and_days_add_does_not_shrink_with_photos(self) -> None:
        rng = np.random.default_rng(6)
        found = study(shots(from_truth(rng, (10, 2, 8, 3), day=0.6, repeat=0.5)))
        own = repeatability_of(found, "check")
        # the mean squares of people and days as they are: what is subtracted from them for a variance is small
        assert own.shared[0] ** 2 == pytest.approx(found.total[0] ** 2 - found.repeat[0] ** 2, abs=0.05)
        assert own.smallest_change(50) > 1.9 * math.sqrt(2) * own.shared[0]
        assert own.covers_light
        assert "2 people, 8 sessions" in own.source

    def test_one_session_says_nothing_about_light(self) -> None:
        own = repeatability_of(study(shots(from_truth(np.random.default_rng(1), (4, 1, 1, 3)))), "check")
        assert not own.covers_light
        # in tone, days are taken to differ as much as photos
        assert own.shared == pytest.approx((0.0, *np.divide(own.sd[1:], math.sqrt(2))))

    def test_people_who_came_on_days_of_their_own_cannot_be_told_from_the_days(self) -> None:
        values = from_truth(np.random.default_rng(2), (10, 1, 8, 3), day=0.6)
        mixed = [Shot(shot.sample, f"person {shot.session}", shot.session, shot.labs) for shot in shots(values)]
        found = study(mixed)
        assert (found.operator, found.session) == (None, None)
        assert found.total[0] > found.repeat[0]

    def test_a_missing_photo_costs_one_repeat_of_the_table_only(self) -> None:
        values = from_truth(np.random.default_rng(2), (10, 1, 6, 3), day=0.3)
        found = study(shots(values)[1:])
        assert found.photos == 179
        assert found.left_over == 179 - 120


class TestTooSmall:
    def test_says_how_many_photos_are_missing(self) -> None:
        with pytest.raises(TooFewReadings, match="Add 2 more photos") as caught:
            study(shots(from_truth(np.random.default_rng(2), (2, 1, 1, 3))))
        assert (caught.value.value, caught.value.limit) == (4.0, 6.0)

    @pytest.mark.parametrize(
        ("people", "days", "enough"),
        [(1, 1, False), (2, 2, False), (1, 4, False), (1, 5, True), (3, 3, True), (5, 1, True)],
    )
    def test_people_and_days_are_counted_before_they_stand_for_the_light(
        self, people: int, days: int, enough: bool
    ) -> None:
        found = study(shots(from_truth(np.random.default_rng(2), (4, people, days, 3), day=3.0)))
        own = repeatability_of(found, "check")
        assert (found.enough, own.covers_light) == (enough, enough)
        # repeats and days are each as sure as there are many of them
        assert own.dof >= 8
        assert own.shared_dof >= 4

    def test_two_days_that_lie_far_apart_are_kept_apart(self) -> None:
        values = from_truth(np.random.default_rng(2), (3, 1, 2, 3), repeat=0.3) + np.array([0.0, 4.0])[:, None]
        found = study(shots(values))
        # the days as they were drawn: half the squared difference of 4 and what their own draws add
        assert repeatability_of(found, "check").shared[0] == pytest.approx(4 / math.sqrt(2), abs=0.4)
        assert not found.enough

    def test_a_small_study_gives_a_wider_figure(self) -> None:
        def factor(samples: int) -> float:
            found = study(shots(from_truth(np.random.default_rng(2), (samples, 1, 1, 3))))
            own = repeatability_of(found, "check")
            return own.smallest_change() / own.sd[0]

        # Student's t at 95 % with 6 and with 20 degrees of freedom: 2.447, 2.086 (NIST/SEMATECH e-Handbook, 1.3.6.7.2)
        assert factor(3) == pytest.approx(math.sqrt(2) * 2.447, rel=1e-3)
        assert factor(10) == pytest.approx(math.sqrt(2) * 2.086, rel=1e-3)
