"""Before against after, in numbers and in words."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.scenes import marks, photograph, ribbon, scene
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.compare.comparison import compare_readings, says_most
from tracker.errors import CannotCompare
from tracker.maths.quantities import matrix3
from tracker.measure import measure_photo
from tracker.measure.reading import PhotoReading, RegionReading
from tracker.measure.repeatability import PROVISIONAL
from tracker.said.colour import say_change


@pytest.fixture(scope="module")
def before() -> PhotoReading:
    return measure_photo(photograph(scene(root=(27, 6, 11), tip=(34, 7, 16), spread=1.5)), marks())


@pytest.fixture(scope="module")
def after() -> PhotoReading:
    return measure_photo(photograph(scene(root=(27, 6, 11), tip=(60, 5, 20), spread=1.5), seed=9), marks())


def test_what_the_cameras_rendering_does_to_both_colours_stays_where_they_differ(
    before: PhotoReading, after: PhotoReading
) -> None:
    # GUM 5.2: only what acts alike on both cancels, so the ends, which changed by far, keep more than their repeats
    root, _, end = compare_readings(before, after, same_kit=True, light="daylight")
    pairs = [(before.region(name), after.region(name)) for name in ("root", "end")]
    repeats = [[(a.repeat_cov[k][k] + b.repeat_cov[k][k]) ** 0.5 for k in range(3)] for a, b in pairs if a and b]
    apart = after.regions[2].lab.lab[2] - before.regions[2].lab.lab[2]
    assert end.change.u[2] ** 2 >= repeats[1][2] ** 2 + (0.05 * apart) ** 2  # chroma is unsure by 9 % (`rendering`)
    assert end.change.u[0] > 1.1 * repeats[1][0]
    assert root.change.u == pytest.approx(repeats[0], rel=0.05)
    unnoted = compare_readings(before, after, same_kit=True)[2]
    assert unnoted.change.u[1] > end.change.u[1]


# share of the way from drawn root to drawn tip at the middle of each band of the path
@pytest.mark.parametrize(("index", "share"), [(0, 0.143), (1, 0.494), (2, 0.846)])
def test_lift_is_the_drawn_one(before: PhotoReading, after: PhotoReading, index: int, share: float) -> None:
    region = compare_readings(before, after, same_kit=True)[index]
    drawn = DEFAULT_SCALE.level(27 + share * 33) - DEFAULT_SCALE.level(27 + share * 7)
    assert region.lift.value is not None
    assert region.lift.value.value == pytest.approx(drawn, abs=0.3)
    assert abs(region.lift.value.value - drawn) < 2.2 * region.lift.value.u


def test_a_real_change_is_said_as_a_sentence(before: PhotoReading, after: PhotoReading) -> None:
    end = compare_readings(before, after, same_kit=True)[2]
    assert end.verdict == "changed"
    assert say_change(end).startswith("Ends: clearly lighter, by ")
    assert end.levels is not None
    assert f"by {end.levels.value:.1f} levels ({end.levels.low:.1f} to {end.levels.high:.1f})" in say_change(end)
    assert end.lightness.says == "lighter"
    # the slope of the scale is not negative, so levels and L* say the same
    assert 0 < end.levels.low < end.levels.high


def test_unlike_kits_are_less_sure(before: PhotoReading, after: PhotoReading) -> None:
    alike = compare_readings(before, after, same_kit=True)
    unlike = compare_readings(before, after, same_kit=False)
    for one, other in zip(alike, unlike, strict=True):
        assert all(u >= v for u, v in zip(other.change.u, one.change.u, strict=True))
    # the root stayed as it was: all that the camera's rendering does to it cancels with one kit only
    assert unlike[0].change.u[0] > 1.3 * alike[0].change.u[0]
    assert unlike[0].change.size.high > alike[0].change.size.high


def test_the_same_hair_is_never_called_changed(before: PhotoReading) -> None:
    again = measure_photo(photograph(scene(root=(27, 6, 11), tip=(34, 7, 16), spread=1.5), seed=4), marks())
    for region in compare_readings(before, again, same_kit=True):
        assert region.verdict != "changed"
        assert "no difference" in say_change(region) or "too close to call" in say_change(region)
    for region in compare_readings(before, again, same_kit=False):
        alike = "Photos taken with the same camera, card and light would tell more."
        assert alike in say_change(region) or "no difference" in say_change(region)


def test_hair_known_to_be_as_it_was_is_said_to_be_so(before: PhotoReading) -> None:
    # 0.1 L*, a* and b* either way is far inside the ΔE00 of 1.8 that half of observers accept (Paravina et al. 2015)
    def surely(region: RegionReading) -> RegionReading:
        cov = matrix3(np.diag([0.01, 0.01, 0.01]))
        nothing = matrix3(np.zeros((3, 3)))
        return dataclasses.replace(
            region, lab=dataclasses.replace(region.lab, cov=cov), repeat_cov=cov, light_cov=nothing, laid_cov=nothing
        )

    sure = dataclasses.replace(before, regions=tuple(map(surely, before.regions)))
    found = compare_readings(sure, sure, same_kit=True, light="daylight")
    assert [each.verdict for each in found] == ["no meaningful change"] * 3
    said = [say_change(each) for each in found]
    assert said == [f"{where}: no difference in lightness or tone." for where in ("Root", "Mid-lengths", "Ends")]


def test_where_more_photos_do_not_help_it_says_what_may() -> None:
    # along a ribbon, light that differs between card and hair counts in every photo of a visit alike
    before = measure_photo(photograph(scene(root=(27, 6, 11), tip=(34, 7, 16), spread=1.5)), ribbon())
    [*_, end] = compare_readings(before, before, same_kit=True)
    assert end.change.photos_needed is None
    assert say_change(end) == (
        "Ends: the same tone; whether it is lighter is too close to call. More photos would not settle it; a set-up "
        "check may."
    )
    known = dataclasses.replace(PROVISIONAL, covers_light=True)
    assert "set-up check" not in say_change(compare_readings(before, before, same_kit=True, repeatability=known)[2])


def test_comparison_is_the_same_when_shown_again(before: PhotoReading, after: PhotoReading) -> None:
    assert compare_readings(before, after, same_kit=True) == compare_readings(before, after, same_kit=True)


def test_nothing_in_common_is_said(before: PhotoReading) -> None:
    empty = dataclasses.replace(before, regions=())
    with pytest.raises(CannotCompare, match="nothing to compare"):
        compare_readings(before, empty, same_kit=True)


def test_the_band_that_says_most_is_the_one_that_was_lifted_furthest(before: PhotoReading, after: PhotoReading) -> None:
    changes = compare_readings(before, after, same_kit=True)
    lifts = {change.name: abs(change.lightness.value) for change in changes}
    assert len(lifts) == 3
    most = says_most(changes)
    assert most is not None
    assert lifts[most.name] == max(lifts.values())
    assert most == says_most(tuple(reversed(changes)))
    # what did not surely become lighter has no say, however far it seems to have been lifted; then tone counts, and
    # without any change it is the first band
    unsure = dataclasses.replace(most.lightness, low=-1.0)
    left = tuple(dataclasses.replace(change, lightness=unsure) if change == most else change for change in changes)
    assert says_most(left) not in (None, most)
    warmer = dataclasses.replace(most.tone, low=1.0)
    none = tuple(
        dataclasses.replace(change, lightness=unsure, tone=dataclasses.replace(change.tone, low=-9.0, high=9.0))
        for change in changes
    )
    assert says_most(none) == none[0]
    assert says_most((*none[:2], toned := dataclasses.replace(none[2], tone=warmer))) == toned
    assert says_most(()) is None
