"""Several photos of one state: what is combined, what shrinks, what is pointed at."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from tracker.calibrate.gauge_study import Shot, repeatability_of, study
from tracker.compare.comparison import compare_readings
from tracker.compare.replicates import Disagreement, disagreements, mean_of_replicates
from tracker.errors import CannotCompare
from tracker.maths.quantities import LabMeasured, Measured, matrix3
from tracker.maths.uncertainty import coverage_factor, effective_dof
from tracker.measure.reading import (
    CardSummary,
    Check,
    Correction,
    Dropped,
    PhotoReading,
    ProfilePoint,
    RegionReading,
)
from tracker.measure.repeatability import Repeatability
from tracker.said.colour import say_change
from tracker.words import number_word

SD = np.array([0.8, 0.35, 0.45])
AT = np.array([42.0, 8.0, 20.0])
ALONE = np.diag([4.0, 5.0, 5.0])
KNOWN = Repeatability("known", (0.8, 0.35, 0.45), 20.0, False, "test")
CARD = CardSummary("grey18", ((0, 0), (1, 0), (1, 1), (0, 1)), (50.0, 0.0, 0.0), 0.0, 0.0)


def region(
    lab: Sequence[float] | np.ndarray, sd: Sequence[float] = tuple(SD), dof: float = 20.0, name: str = "mid"
) -> RegionReading:
    repeat = np.diag(np.square(sd))
    one = Measured(float(lab[0]), float(sd[0]), "L*", dof)
    colour = LabMeasured((float(lab[0]), float(lab[1]), float(lab[2])), matrix3(repeat + ALONE), dof)
    return RegionReading(name, colour, matrix3(repeat), one, one, one, None, 1000, Dropped(0.0, 0.1, 0.1, 0.0))


def reading(*regions: RegionReading, ok: bool = True) -> PhotoReading:
    check = Check("light", ok, 0.0, 1.0, "", "")
    return PhotoReading("1", CARD, Correction("grey18", (1, 1, 1)), regions if ok else (), (), (check,))


def photos(labs: np.ndarray, **more: object) -> list[PhotoReading]:
    return [reading(region(lab, **more)) for lab in labs]  # type: ignore[arg-type]


def shifted(shifts: Sequence[Sequence[float]]) -> list[PhotoReading]:
    return photos(np.add(AT, shifts))


def mid(found: PhotoReading) -> RegionReading:
    region = found.region("mid")
    assert region is not None
    return region


def test_one_photo_is_left_as_it_is() -> None:
    [one] = photos(AT[None])
    assert mean_of_replicates([one], KNOWN) is one
    assert mean_of_replicates([one, reading(ok=False)], KNOWN) is one


def test_without_a_number_there_is_nothing_to_combine() -> None:
    with pytest.raises(CannotCompare, match="None of these photos"):
        mean_of_replicates([reading(ok=False)], KNOWN)


def test_mean_and_pooled_spread_by_hand() -> None:
    # GUM 4.2.4, pooled: (20 x 0.8² + 2 x 1) / 22 = 0.6727; the photos' own variance of L* is 1, of a* and b* 0
    found = mid(mean_of_replicates(shifted([[-1, 0, 0], [0, 0, 0], [1, 0, 0]]), KNOWN))
    np.testing.assert_allclose(found.lab.lab, AT)
    np.testing.assert_allclose(
        np.diag(found.repeat_cov), [0.67273 / 3, 20 * 0.35**2 / 66, 20 * 0.45**2 / 66], rtol=1e-4
    )
    # rendering and tolerance, common to all three photos, stay whole
    np.testing.assert_allclose(np.subtract(found.lab.cov, found.repeat_cov), ALONE, atol=1e-9)
    assert found.lab.dof == 22
    assert found.photos == 3
    assert found.pixels == 3000


def test_what_an_occasion_shares_does_not_shrink() -> None:
    apart = replace(KNOWN, shared=(0.6, 0.0, 0.0))
    many = mid(mean_of_replicates(photos(np.repeat(AT[None], 40, axis=0)), apart))
    assert math.sqrt(many.repeat_cov[0][0]) == pytest.approx(0.6, abs=0.02)
    assert many.repeat_cov[1][1] < 0.35**2 / 40


def test_what_the_kit_does_to_lights_and_lows_does_not_shrink() -> None:
    lights = Measured(45.0, 2.5, "L*", 20.0)
    one = replace(region(AT), lights=lights, kit_u=(2.0, 0.0, 0.0, 0.0))
    found = mid(mean_of_replicates([reading(one)] * 4, KNOWN))
    # 20 known degrees of freedom and 3 more of photos that are all alike: (2.5² - 2²) x 20/23 / 4, and 2² whole
    assert found.lights.u == pytest.approx(math.sqrt(2.25 * 20 / 23 / 4 + 4))
    assert found.lows.u < 0.5
    assert found.kit_u[0] == 2.0


def test_profile_is_the_mean_of_the_places_that_all_have() -> None:
    def with_profile(value: float, places: Sequence[float]) -> PhotoReading:
        points = tuple(ProfilePoint(place, (value, 0.0, 0.0), 0.4) for place in places)
        return replace(reading(region(AT)), profile=points)

    found = mean_of_replicates([with_profile(40.0, (0.1, 0.3, 0.5)), with_profile(42.0, (0.1, 0.5))], KNOWN)
    assert [point.position for point in found.profile] == [0.1, 0.5]
    assert [point.lab[0] for point in found.profile] == [41.0, 41.0]
    assert found.profile[0].u_lightness == pytest.approx(0.4 / math.sqrt(2))


@given(st.integers(2, 7), st.integers(0, 10_000))
def test_order_does_not_matter_and_more_photos_never_hurt_much(n: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    shots = photos(rng.normal(AT, SD, (n, 3)))
    found, turned = mid(mean_of_replicates(shots, KNOWN)), mid(mean_of_replicates(shots[::-1], KNOWN))
    np.testing.assert_allclose(found.lab.lab, turned.lab.lab)
    np.testing.assert_allclose(found.repeat_cov, turned.repeat_cov, atol=1e-12)
    assert np.all(np.linalg.eigvalsh(found.repeat_cov) > 0)
    assert np.all(np.linalg.eigvalsh(found.lab.cov) > 0)


def test_lights_and_lows_are_the_mean_of_all_photos_stretch_by_stretch() -> None:
    def with_stretches(*rows: Sequence[float]) -> PhotoReading:
        return replace(reading(region(AT)), stretches=tuple(map(tuple, rows)))

    one, other = with_stretches((30.0, 40.0), (50.0, 60.0)), with_stretches((32.0, 46.0), (50.0, 61.0))
    assert mean_of_replicates([one, other], KNOWN).stretches == ((31.0, 43.0), (50.0, 60.5))
    # where too little hair was kept in one of them, the first photo's stand
    assert mean_of_replicates([one, with_stretches((32.0, 46.0), ())], KNOWN).stretches == one.stretches


# hair that is combed anew, or not

LAID = np.array([0.6, 0.2, 0.3])


def lying(labs: np.ndarray, sd: np.ndarray = SD, dof: float = 20.0, lies: np.ndarray = LAID) -> list[PhotoReading]:
    """Photos of which `lies` is how the hair lies, on top of `sd`."""
    repeat, laid = np.diag(np.square(sd) + np.square(lies)), matrix3(np.diag(np.square(lies)))
    shots = []
    for lab in labs:
        colour = LabMeasured(region(lab).lab.lab, matrix3(repeat + ALONE), dof)
        shots.append(reading(replace(region(lab), lab=colour, repeat_cov=matrix3(repeat), laid_cov=laid)))
    return shots


def test_how_the_hair_lies_averages_out_only_where_it_was_combed_anew() -> None:
    shots = lying(np.repeat(AT[None], 4, axis=0))
    lain, combed = (mid(mean_of_replicates(shots, KNOWN, combed_anew)) for combed_anew in (False, True))
    # by hand: 20 known degrees of freedom and 3 of photos that are all alike, over four photos (GUM 4.2.4)
    kept = 20 / 23 / 4
    assert lain.repeat_cov[0][0] == pytest.approx(0.6**2 + 0.8**2 * kept)
    assert combed.repeat_cov[0][0] == pytest.approx((0.6**2 + 0.8**2) * kept)
    # what further photos would share
    assert lain.laid_cov[0][0] == pytest.approx(0.6**2)
    assert combed.laid_cov[0][0] == 0.0
    # the same pieces again tell nothing new of lights and lows
    assert lain.dimension.u == pytest.approx(0.8)
    assert combed.dimension.u < 0.5
    assert mid(mean_of_replicates(shots, KNOWN)) == lain


@pytest.mark.parametrize(("combed", "noted"), [(True, True), (False, False), (True, False)])
def test_intervals_hold_whether_hair_was_combed_or_not(combed: bool, noted: bool) -> None:
    rng = np.random.default_rng(2 * combed + noted)
    held, number, n = np.zeros(3), 800, 3
    for _ in range(number):
        sides = []
        for _ in range(2):
            lay = rng.normal(0, LAID, (n if combed else 1, 3))
            sides.append(mean_of_replicates(lying(AT + lay + rng.normal(0, SD, (n, 3)), dof=200.0), KNOWN, noted))
        [found] = compare_readings(*sides, same_kit=True, repeatability=KNOWN)
        factor = coverage_factor(min(mid(side).lab.dof for side in sides))
        held += np.abs(found.change.delta) <= factor * np.array(found.change.u)
    # of 800 intervals that hold the truth in 95 of 100, fewer than 739 do in 1 run of 1,000 (binomial)
    assert np.all(held / number >= 0.924)
    assert np.all(held / number <= (0.975 if combed == noted else 1.0))


def test_hair_that_was_combed_without_a_note_is_nothing_odd() -> None:
    rng = np.random.default_rng(12)
    odd = sum(
        bool(disagreements(lying(AT + rng.normal(0, LAID, (3, 3)) + rng.normal(0, SD, (3, 3))), KNOWN))
        for _ in range(600)
    )
    assert odd / 600 <= 0.06


def test_what_would_settle_it_is_true_combed_or_not() -> None:
    """Where hair that lies as it lay cannot settle it, photos of hair combed anew do."""
    wide = np.array([0.2, 0.2, 0.2])
    known = replace(KNOWN, sd=(0.0, 0.0, 0.0), dof=math.inf)
    lies = np.array([1.2, 0.2, 0.3])
    [first], [second] = (lying(lab[None], wide, math.inf, lies) for lab in (AT, np.add(AT, [2, 0, 0])))
    [found] = compare_readings(first, second, same_kit=True, repeatability=known)
    assert (found.change.photos_needed, found.remedy) == (None, "photos anew")
    needed = found.change.photos_anew
    assert needed is not None
    assert say_change(found).endswith("with the hair combed and the card taken up again between them.")

    def verdict(n: int, combed_anew: bool) -> str:
        sides = []
        for lab in (AT, np.add(AT, [2, 0, 0])):
            # photos whose scatter is just what is known
            shots = lying(np.repeat(lab[None], n, axis=0), wide, math.inf, lies)
            sides.append(mean_of_replicates(shots, known, combed_anew))
        [again] = compare_readings(*sides, same_kit=True, repeatability=known)
        return again.verdict

    # 4 photos: 1.96 x sqrt((2 x 1.2² + 2 x 0.2²) / 4) = 1.69, less than the 2 L* seen
    assert 2 <= needed <= 4
    assert verdict(4, True) == "changed"
    assert verdict(1, True) == "cannot tell yet"
    assert verdict(20, False) == "cannot tell yet"


@pytest.mark.parametrize(
    ("hair", "checked", "remedy"),
    [
        ("ribbon", None, "set-up check"),
        ("whole", None, "set-up check"),
        ("whole", "ribbon", "set-up check"),
        ("whole", "whole", "nothing"),
    ],
)
def test_a_set_up_check_is_promised_until_there_is_one_of_that_hair(
    hair: str, checked: str | None, remedy: str
) -> None:
    known = KNOWN if checked is None else replace(KNOWN, provisional=False, covers_light=True, hair=checked)
    light = matrix3(np.diag([1.0, 0.0, 0.0]))
    sides = []
    for lab in (AT, np.add(AT, [1.5, 0, 0])):
        band = replace(region(lab, (1.02, 0.2, 0.2), math.inf), light_cov=light)
        sides.append(replace(reading(band), hair=hair))
    [found] = compare_readings(*sides, same_kit=True, repeatability=known)
    assert (found.verdict, found.remedy) == ("cannot tell yet", remedy)


# photos that disagree


def test_a_photo_that_disagrees_widens_only_what_it_disagrees_in() -> None:
    # L* as wide as the photos show, variance of 0, 0 and 8; a* and b*, in which they agree, pooled as ever (GUM 4.2.4)
    found = mid(mean_of_replicates(shifted([[0, 0, 0], [0, 0, 0], [8.0, 0, 0]]), KNOWN))
    np.testing.assert_allclose(np.diag(found.repeat_cov), [64 / 3 / 3, 20 * 0.35**2 / 66, 20 * 0.45**2 / 66], rtol=1e-6)


def test_an_odd_photo_is_named_with_its_distance_and_limit() -> None:
    shots = shifted([[0.2, 0, 0], [8.0, 0, 0], [-0.2, 0, 0]])
    [odd] = disagreements(shots, KNOWN)
    assert (odd.photo, odd.region, odd.pair) == (1, "mid", False)
    np.testing.assert_allclose(odd.delta, [8.0, 0, 0], atol=1e-9)
    assert odd.distance == pytest.approx(8.0)
    # Hotelling 1931 with 20 degrees of freedom and Dunn's share of 5 % for three photos of one band; F(3, 18) exceeded
    # with probability 0.0167 is 4.46 (scipy.stats, an implementation of its own)
    from scipy.stats import f

    expected = 0.8 * math.sqrt(1.5 * f.isf(0.05 / 3, 3, 18) * 60 / 18)
    assert odd.limit == pytest.approx(expected, rel=1e-6)


def test_one_odd_photo_does_not_make_the_others_odd() -> None:
    assert [odd.photo for odd in disagreements(shifted([[0, 0, 0], [0, 0, 0], [0, 0, 30]]), KNOWN)] == [2]


def test_two_photos_apart_are_both_doubted() -> None:
    [odd] = disagreements(shifted([[0, 0, 0], [9.0, 0, 0]]), KNOWN)
    assert odd.pair
    assert disagreements(shifted([[0, 0, 0], [1.0, 0, 0]]), KNOWN) == ()


def test_a_photo_that_disagrees_and_is_kept_makes_the_result_less_sure() -> None:
    calm = mid(mean_of_replicates(shifted([[0.2, 0, 0], [0, 0, 0], [-0.2, 0, 0]]), KNOWN))
    torn = mid(mean_of_replicates(shifted([[0.2, 0, 0], [9.0, 0, 0], [-0.2, 0, 0]]), KNOWN))
    # Birge 1932: no less than the photos' own spread says, 9.0 to 0.0: standard deviation of the mean 3.0
    assert math.sqrt(torn.repeat_cov[0][0]) >= 3.0
    assert math.sqrt(calm.repeat_cov[0][0]) < 0.5


def test_an_odd_photo_makes_every_band_less_sure() -> None:
    # it is named for its worst band only, and differs in the other one too
    def shot(mid_shift: float, end_shift: float) -> PhotoReading:
        return reading(region(np.add(AT, [mid_shift, 0, 0])), region(np.add(AT, [end_shift, 0, 0]), name="end"))

    shots = [shot(0.0, 0.0), shot(4.0, 12.0), shot(0.2, 0.1)]
    [odd] = disagreements(shots, KNOWN)
    assert odd.region == "end"
    seen = np.std([0.0, 4.0, 0.2], ddof=1) / math.sqrt(3)
    assert math.sqrt(mid(mean_of_replicates(shots, KNOWN)).repeat_cov[0][0]) >= 0.999 * seen


def test_photos_without_anything_odd_are_rarely_pointed_at() -> None:
    rng = np.random.default_rng(11)
    pointed = 0
    for _ in range(1500):
        # the stated spread is itself an estimate on 20 degrees of freedom
        sd = SD * np.sqrt(chi2.rvs(20, size=1, random_state=rng) / 20)
        rows = [[rng.normal(AT, SD) for _ in range(3)] for _ in range(3)]
        shots = [
            reading(*(region(lab, tuple(sd), name=name) for lab, name in zip(row, ("root", "mid", "end"), strict=True)))
            for row in rows
        ]
        pointed += bool(disagreements(shots, KNOWN))
    # at most 5 % by Dunn's inequality; fewer, because one band's photos are tested against one another
    assert 0.005 <= pointed / 1500 <= 0.05


# honesty, on simulated visits


def visits(
    rng: np.random.Generator, number: int, n: int, change: Sequence[float], shared: float = 0.0, study: int = 20
) -> tuple[float, float, float]:
    """Share of visits whose 95 % intervals of the change of L* and of its b* hold the truth, and that say changed.

    A studio first learns its spread from a study of `study` degrees of freedom, then takes `n` photos before and
    after; occasions differ by `shared` of what photos differ by.
    """
    held, kept, changed = 0, 0, 0
    between, within = shared * SD, math.sqrt(1 - shared**2) * SD
    for _ in range(number):
        sd = SD * np.sqrt(chi2.rvs(study, random_state=rng) / study)
        studied = Repeatability("own", tuple(sd), study, False, "", tuple(shared * sd), study)  # type: ignore[arg-type]
        pair = []
        for truth in (AT, AT + change):
            occasion = rng.normal(truth, between)
            labs = rng.normal(occasion, within, (n, 3))
            pair.append(mean_of_replicates(photos(labs, sd=tuple(sd), dof=float(study)), studied))
        [found] = compare_readings(pair[0], pair[1], same_kit=True, repeatability=studied)
        factor = coverage_factor(min(mid(side).lab.dof for side in pair))
        held += abs(found.change.delta[0] - change[0]) <= factor * found.change.u[0]
        kept += abs(found.change.delta[2] - change[2]) <= factor * found.change.u[2]
        changed += found.lightness.changed
    return held / number, kept / number, changed / number


def also(*case: object) -> Any:
    """A case of a study of which the unmarked ones guard the same code."""
    return pytest.param(*case, marks=pytest.mark.slow)


@pytest.mark.parametrize(("n", "shared"), [(1, 0.0), also(2, 0.0), also(3, 0.0), (3, 0.6), also(5, 0.6)])
def test_intervals_hold_the_truth_and_no_change_is_rarely_called_one(n: int, shared: float) -> None:
    # of 1,000 intervals that hold the truth in 90 of 100, more than 930 do in 1 run of 1,000 (binomial); of 1,000 that
    # hold it in 95, fewer than 930 do in 2
    held, kept, changed = visits(np.random.default_rng(100 * n + int(10 * shared)), 1000, n, (0.0, 0.0, 0.0), shared)
    assert 0.93 <= held <= 0.97
    assert 0.93 <= kept <= 0.97
    assert changed <= 0.06


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (1, 1, " more photos of each should settle it."),
        (2, 2, " more photos of each should settle it."),
        (3, 1, " photos of each should settle it."),
    ],
)
def test_the_sentence_counts_the_photos_there_are(before: int, after: int, words: str) -> None:
    wide = (2.0, 0.5, 0.8)
    known = replace(KNOWN, sd=wide)
    sides = [mean_of_replicates(photos(np.repeat(AT[None], n, axis=0), sd=wide), known) for n in (before, after)]
    [found] = compare_readings(*sides, same_kit=True, repeatability=known)
    assert found.change.photos_needed is not None
    assert found.change.photos_needed > min(before, after)
    number = found.change.photos_needed - (before if before == after else 0)
    assert say_change(found).endswith(f"too close to call. {number_word(number).capitalize()}{words}")


def test_more_photos_find_a_change_that_one_misses() -> None:
    rng = np.random.default_rng(5)
    one = visits(rng, 600, 1, (2.0, 0.0, 0.0))[2]
    three = visits(rng, 600, 3, (2.0, 0.0, 0.0))[2]
    assert three > one + 0.25


LIGHT = (
    0.15 * math.log(2) * (AT[0] + 16) / 3
)  # L* for the largest difference of light between card and hair allowed for


def lit(labs: np.ndarray, own: Repeatability) -> list[PhotoReading]:
    """Photos as the app measures them with that spread: light is allowed for where the spread does not hold it."""
    light = np.zeros((3, 3)) if own.covers_light else np.diag([LIGHT**2 / 3, 0.0, 0.0])
    between = np.square(own.shared)
    repeat = light + np.diag(np.maximum(between - np.diag(light), 0) + np.square(own.sd) - between)
    dof = effective_dof([math.sqrt(light[0, 0]), math.sqrt(repeat[0, 0] - light[0, 0])], [math.inf, own.dof])
    bands = [replace(region(lab, dof=dof), repeat_cov=matrix3(repeat), light_cov=matrix3(light)) for lab in labs]
    whole = matrix3(repeat + ALONE)
    return [reading(replace(band, lab=LabMeasured(band.lab.lab, whole, dof))) for band in bands]


@pytest.mark.parametrize(
    ("design", "person", "day", "n"),
    [
        ((10, 2, 2), 0.25, 0.25, 3),
        ((5, 1, 5), 0.0, 0.6, 1),
        also((10, 2, 2), 0.0, 0.0, 1),
        also((10, 2, 2), 0.0, 1.0, 3),
        also((5, 1, 5), 0.0, 0.6, 3),
        also((5, 1, 5), 0.0, 1.0, 3),
        also((5, 3, 3), 1.0, 1.0, 3),
    ],
)
def test_a_set_up_check_makes_honest_visits(design: tuple[int, int, int], person: float, day: float, n: int) -> None:
    # what people and days add is drawn anew for each studio and each visit, in parts of what one photo scatters by;
    # no study is refused, so none is chosen for having found little
    rng = np.random.default_rng(int(100 * person + 1000 * day) + n)
    held, changed, number = 0, 0, 600
    hairs, people, days = design
    for _ in range(number):
        by_person, by_day = rng.normal(0, person, (people, 3)) * SD, rng.normal(0, day, (days, 3)) * SD
        shots = []
        for hair in range(hairs):
            start = rng.uniform([20, 2, 5], [65, 10, 25])
            for who, when, _ in np.ndindex(people, days, 3):
                lab = start + by_person[who] + by_day[when] + rng.normal(0, SD)
                shots.append(Shot(f"{hair}", f"{who}", f"{when}", (tuple(lab.tolist()),)))
        own = repeatability_of(study(shots), "own")
        size = SD * math.sqrt(person**2 + day**2)
        pair = [mean_of_replicates(lit(rng.normal(rng.normal(AT, size), SD, (n, 3)), own), own) for _ in range(2)]
        [found] = compare_readings(*pair, same_kit=True, repeatability=own)
        factor = coverage_factor(min(mid(side).lab.dof for side in pair))
        held += abs(found.change.delta[0]) <= factor * found.change.u[0]
        changed += found.lightness.changed
    # few days leave the light allowed for, so the interval holds more than it says
    assert 0.93 <= held / number <= (0.98 if design[1] + design[2] > 5 else 1.0)
    assert changed / number <= 0.06


def test_the_study_and_the_visits_together() -> None:
    # what a study of ten samples and three photos finds is what its visits then use
    rng = np.random.default_rng(8)
    heads = rng.uniform([20, 2, 5], [65, 10, 25], (10, 3))
    shots = [
        Shot(f"hair {k}", "me", "today", (tuple(rng.normal(head, SD)),))
        for k, head in enumerate(heads)
        for _ in range(3)
    ]
    own = repeatability_of(study(shots), "own")
    assert own.dof == 20
    three = mid(mean_of_replicates(photos(rng.normal(AT, SD, (3, 3)), sd=own.sd), own))
    one = region(AT, own.sd)
    assert three.repeat_cov[0][0] < 0.75 * one.repeat_cov[0][0]


@pytest.mark.parametrize(
    ("delta", "axis"), [((3.0, -1.0, 2.0), 0), ((1.0, -3.0, 2.0), 1), ((1.0, 2.0, -2.5), 2), ((0.0, 2.0, 2.0), 2)]
)
def test_most_of_a_difference_lies_along_its_largest_part(delta: tuple[float, float, float], axis: int) -> None:
    assert Disagreement(0, "mid", delta, 4.0, 2.0, pair=False).axis == axis


def test_lightness_of_one_photo_carries_what_repeats_differ_by() -> None:
    lab = LabMeasured((48.0, 6.0, 20.0), matrix3(np.diag([9.0, 1.0, 1.0])))
    one = replace(region(AT), lab=lab, repeat_cov=matrix3(np.diag([0.25, 1.0, 4.0])))
    # by hand: a variance of 0.25 is a standard uncertainty of 0.5
    assert (one.repeat_lightness.value, one.repeat_lightness.u) == (48.0, 0.5)
