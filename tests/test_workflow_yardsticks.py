"""Gathering readings for the studio's own yardsticks, making versions of them, undoing."""

from __future__ import annotations

import json
import math
import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.scenes import card_of, marks, photograph, ribbon, scene
from tracker import workflow
from tracker.calibrate.calibration import LOCUS, SCALE, SPREAD, Swatch, Yardstick, Yardsticks, in_force, level_of
from tracker.calibrate.gauge_study import Shot, repeatability_of, study
from tracker.calibrate.level import DEFAULT_SCALE, estimate_level
from tracker.errors import CannotCalibrate, InvalidEntry, NotFound, TooFewReadings, TrackerError
from tracker.maths.quantities import LabMeasured, matrix3, vector3
from tracker.measure import Settings, measure_photo
from tracker.measure.camera_error import shifts, standing_alone
from tracker.measure.kit import Kit
from tracker.measure.reading import RIBBON, WHOLE, PhotoReading, RegionReading
from tracker.measure.reference_card import camera_error
from tracker.measure.repeatability import PROVISIONAL
from tracker.record.records import new_id, now, to_json
from tracker.store import Store
from tracker.workflow.photos import settings_in_force
from tracker.workflow.yardsticks import MOST_SHOTS


@cache
def reading(tip: float = 55.0) -> PhotoReading:
    return measure_photo(photograph(scene(tip=(tip, 6.0, 24.0))), marks())


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def gather(store: Store, name: str, readings: Sequence[object]) -> None:
    """As if these had been gathered one by one."""
    store.settings.change_list(name, lambda _: [json.loads(to_json(reading)) for reading in readings])


def shot(value: float, sample: str = "a", session: str = "Monday", hair: str = WHOLE) -> Shot:
    return Shot(sample, "me", session, ((value, 5.0, 12.0),) * 3, hair)


def test_readings_are_gathered_over_days_and_survive_a_restart(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        workflow.add_shot(store, reading(), sample=" swatch 1 ", operator="", session="")
    with Store(tmp_path) as store:
        [kept] = workflow.shots_so_far(store)
        assert (kept.sample, kept.operator, kept.session) == ("swatch 1", "me", "first session")
        assert [lab[0] for lab in kept.labs] == [region.lab.lab[0] for region in reading().regions]
        assert store.disk.usage().pictures == 0


@pytest.mark.parametrize("sample", ["", "  ", "x" * 500])
def test_hair_without_a_name_is_refused(store: Store, sample: str) -> None:
    with pytest.raises(InvalidEntry):
        workflow.add_shot(store, reading(), sample=sample, operator="me", session="x")
    with pytest.raises(InvalidEntry, match="no number"):
        workflow.add_shot(store, replace(reading(), regions=()), sample="a", operator="me", session="x")
    assert workflow.shots_so_far(store) == ()


def test_what_is_gathered_is_bounded_and_can_be_taken_back(store: Store) -> None:
    gather(store, "set-up check so far", [shot(float(value)) for value in range(MOST_SHOTS)])
    workflow.add_shot(store, reading(), sample="a", operator="me", session="x")
    shots = workflow.shots_so_far(store)
    assert len(shots) == MOST_SHOTS
    workflow.drop_shots(store, [shots[-1]])
    assert workflow.shots_so_far(store) == shots[:-1]
    workflow.drop_shots(store)
    assert workflow.shots_so_far(store) == ()


def test_a_check_that_is_too_small_changes_nothing(store: Store) -> None:
    gather(store, "set-up check so far", [shot(40.0), shot(41.0)])
    with pytest.raises(TooFewReadings):
        workflow.adopt_spread(store)
    assert store.yardsticks.in_force().spread.provisional
    assert len(workflow.shots_so_far(store)) == 2


def test_a_version_keeps_its_readings_and_undo_brings_the_one_before_back(store: Store) -> None:
    rows = [shot(40 + 0.3 * number, session=f"day {number % 5}") for number in range(12)]
    gather(store, "set-up check so far", rows)
    first = workflow.adopt_spread(store)
    assert first.shots == tuple(rows)
    assert first.spread is not None
    assert settings_in_force(store) == Settings(repeatability=first.spread)
    gather(store, "set-up check so far", [shot(40 + 0.1 * number) for number in range(9)])
    second = workflow.adopt_spread(store)
    assert store.yardsticks.in_force().spread == second.spread
    workflow.undo_yardstick(store, SPREAD)
    assert store.yardsticks.in_force().spread == first.spread
    workflow.undo_yardstick(store, SPREAD)
    with pytest.raises(NotFound, match="built-in"):
        workflow.undo_yardstick(store, SPREAD)


def test_a_check_on_a_ribbon_counts_for_ribbons_only(store: Store) -> None:
    rows = [shot(40 + 0.3 * number, session=f"day {number % 5}", hair=RIBBON) for number in range(12)]
    gather(store, "set-up check so far", [*rows, shot(50.0)])
    # an unfinished one does not go on with photos of the whole hair
    assert (len(workflow.earlier_shots(store)), len(workflow.shots_so_far(store))) == (12, 1)
    with pytest.raises(TooFewReadings):
        workflow.adopt_spread(store)
    with pytest.raises(InvalidEntry, match="ribbon"):
        workflow.add_shot(store, replace(reading(), hair=RIBBON), sample="a", operator="me", session="x")
    workflow.drop_shots(store, workflow.earlier_shots(store))
    assert [kept.labs[0][0] for kept in workflow.shots_so_far(store)] == [50.0]
    with pytest.raises(CannotCalibrate, match="some over the whole"):
        study([*rows, shot(50.0)])
    own = repeatability_of(study(rows), "earlier")
    assert own.hair == RIBBON
    store.yardsticks.add(Yardstick(new_id(), SPREAD, now(), shots=tuple(rows), spread=own))
    drawn = scene()
    own_settings = settings_in_force(store)
    for marked, known in ((ribbon(), own), (marks(), PROVISIONAL)):
        found = measure_photo(photograph(drawn), marked, own_settings)
        assert found == measure_photo(photograph(drawn), marked, Settings(repeatability=known))
    gather(store, "set-up check so far", [shot(40 + 0.3 * number) for number in range(12)])
    newer = workflow.adopt_spread(store).spread
    assert newer is not None
    assert (newer.hair, newer.over(WHOLE), newer.over(RIBBON)) == (WHOLE, newer, PROVISIONAL)


def test_swatches_of_a_scale_need_their_level_and_make_versions(store: Store) -> None:
    with pytest.raises(InvalidEntry, match="has no level"):
        workflow.add_swatch(store, SCALE, reading(), name="x")
    workflow.add_swatch(store, SCALE, reading(55.0), name="", level=6)
    with pytest.raises(CannotCalibrate):
        workflow.adopt_swatches(store, SCALE)
    for level, tip in ((4, 30.0), (8, 76.0)):
        swatch = workflow.add_swatch(store, SCALE, reading(tip), name="", level=level, camera="Maker Model")
        middle = reading(tip).region("mid")
        assert middle is not None
        # what repeats differ by, without what every photo of this camera shares
        assert swatch.lab.cov == middle.repeat_cov
        assert swatch.name == f"level {level}"
    version = workflow.adopt_swatches(store, SCALE)
    assert store.yardsticks.in_force().scale == version.scale
    # and with what they were photographed: the first without its camera, which then counts as the same
    kits = store.yardsticks.in_force().kits
    assert [kit.camera for kit in kits if kit is not None] == [None, "Maker Model", "Maker Model"]
    assert kits == tuple(swatch.kit for swatch in version.swatches)
    assert version.scale is not None
    assert version.scale.name.startswith("own scale of ")
    assert workflow.swatches_so_far(store, SCALE) == ()
    workflow.start_from(store, version)
    assert workflow.swatches_so_far(store, SCALE) == version.swatches
    workflow.drop_swatches(store, SCALE, version.swatches[:1])
    assert workflow.swatches_so_far(store, SCALE) == version.swatches[1:]


def swatches_of(kit: Kit | None) -> tuple[Swatch, ...]:
    """On the built-in curve, from level 3 to 8."""
    cov = ((0.25, 0.0, 0.0), (0.0, 0.25, 0.0), (0.0, 0.0, 0.25))
    rows = [(level, DEFAULT_SCALE.lightness(level)) for level in (3.0, 4.0, 5.0, 6.0, 7.0, 8.0)]
    return tuple(Swatch(f"{level:g}", level, LabMeasured((value, 5.0, 15.0), cov), kit) for level, value in rows)


def own_scale(kit: Kit | None) -> Yardsticks:
    """The scale that those swatches make, in force."""
    swatches = swatches_of(kit)
    scale = workflow.scale_from(swatches, "own").scale
    return in_force([Yardstick(new_id(), SCALE, now(), swatches=swatches, scale=scale)])


def band(level: float, lab: Sequence[float] = (), light: str = "daylight") -> RegionReading:
    """A band of that level, as unsure as a plain grey card leaves it."""
    found = reading().region("mid")
    assert found is not None
    colour = vector3(lab or (DEFAULT_SCALE.lightness(level), 5.0, 15.0))
    repeat = 0.25 * np.eye(3)
    whole = repeat + standing_alone(colour, camera_error(card_of("grey18", 0.18), light))
    return replace(found, lab=LabMeasured(colour, matrix3(whole)), repeat_cov=matrix3(repeat))


MINE, OTHER = Kit("Maker Model", "grey18", None), Kit("Maker Other", "grey18", None)


@given(st.floats(1, 10))
def test_what_one_kit_shares_counts_once_at_most_for_the_kit_of_the_swatches_and_of_both_for_another(
    level: float,
) -> None:
    own, region = own_scale_of_mine(), band(level)
    alike, other = (level_of(region, kit, own).value for kit in (MINE, OTHER))
    whole = estimate_level(region.lab, own.scale).value
    if alike is None or other is None or whole is None:
        return
    slope = own.scale.slope(region.lab.lab[0])
    repeat = math.hypot(0.5 / slope, own.scale.uncertainty(region.lab.lab[0]))
    assert repeat - 1e-9 <= alike.u <= whole.u + 1e-9 <= other.u + 2e-9
    if 3.1 < level < 7.9:
        assert alike.u == pytest.approx(repeat, rel=1e-6)
        # GUM 5.1.2: two kits, each with its own part
        assert other.u**2 - whole.u**2 == pytest.approx(whole.u**2 - alike.u**2)
    if not 1.9 < level < 9.1:
        assert alike.u == other.u == pytest.approx(whole.u)


def test_a_swatch_of_an_earlier_version_still_belongs_to_its_kit() -> None:
    # versions 1.2 and 2.0 balance a photo alike, so what camera and card share cancels between them; of another version
    # nothing is known, and another camera stays another camera
    earlier, now_measured = replace(MINE, method="1.2"), replace(MINE, method="2.0")
    own, region = own_scale(earlier), band(5.0)
    same = level_of(region, earlier, own).value
    assert level_of(region, now_measured, own).value == same
    for other in (replace(now_measured, method="1.1"), replace(now_measured, camera="Maker Other")):
        found = level_of(region, other, own).value
        assert same is not None
        assert found is not None
        assert found.u > same.u


@cache
def own_scale_of_mine() -> Yardsticks:
    return own_scale(MINE)


def test_a_scale_of_several_kits_or_of_one_that_was_not_kept_is_another_kits() -> None:
    region, own = band(5.0), own_scale_of_mine()
    sure = level_of(region, MINE, own).value
    assert sure is not None
    for kits in ((MINE, OTHER), (None,)):
        found = level_of(region, MINE, replace(own, kits=kits)).value
        assert found is not None
        assert found.u > sure.u


@given(st.floats(1, 10))
def test_a_level_on_the_built_in_scale_carries_its_whole_doubt(level: float) -> None:
    assert level_of(band(level), MINE, Yardsticks()) == estimate_level(band(level).lab)


def test_levels_hold_the_truth_with_the_kit_of_the_swatches_and_with_another() -> None:
    rng = np.random.default_rng(5)
    size = camera_error(card_of("grey18", 0.18), "daylight")
    held: dict[Kit, list[bool]] = {MINE: [], OTHER: []}
    levels = np.arange(1.0, 11.0)

    def seen(level: float, kit: np.ndarray) -> list[float]:
        colour = np.array([DEFAULT_SCALE.lightness(level), 5.0, 15.0])
        return list(colour + kit @ shifts(colour, size) + rng.normal(0, 0.5, 3))

    for _ in range(60):
        kits = {MINE: rng.normal(size=6), OTHER: rng.normal(size=6)}
        cov = matrix3(0.25 * np.eye(3))
        rows = [Swatch("", level, LabMeasured(vector3(seen(level, kits[MINE])), cov), MINE) for level in levels]
        scale = workflow.scale_from(rows, "own").scale
        own = Yardsticks(scale=scale, kits=(MINE,))
        for kit, off in kits.items():
            for level in rng.uniform(2, 9, 4):
                found = level_of(band(level, seen(level, off)), kit, own).value
                if found is not None:
                    held[kit].append(abs(found.value - level) <= 1.96 * found.u)
    assert np.mean(held[MINE]) >= 0.93
    assert np.mean(held[OTHER]) >= 0.93


def test_natural_hair_needs_no_level(store: Store) -> None:
    assert workflow.add_swatch(store, LOCUS, reading(), name="").name == "swatch 1"
    with pytest.raises(CannotCalibrate, match="at least 3 swatches"):
        workflow.adopt_swatches(store, LOCUS)


@pytest.mark.parametrize("content", [b"", b"GIF89a", b"\xff\xd8\xff"])
def test_what_is_no_photo_is_refused(content: bytes) -> None:
    with pytest.raises(TrackerError):
        workflow.look_at(content, "grey18")


def test_two_windows_that_add_at_once_lose_nothing(store: Store) -> None:
    def add(sample: str) -> None:
        for _ in range(15):
            workflow.add_shot(store, reading(), sample=sample, operator="me", session="x")

    windows = [threading.Thread(target=add, args=(name,)) for name in ("a", "b")]
    for window in windows:
        window.start()
    for window in windows:
        window.join()
    assert sorted(shot.sample for shot in workflow.shots_so_far(store)) == ["a"] * 15 + ["b"] * 15


def test_readings_that_cannot_be_read_any_more_do_not_keep_new_ones_out(store: Store) -> None:
    store.settings.put("set-up check so far", [{"no": "shot"}, 7])
    workflow.add_shot(store, reading(), sample="a", operator="me", session="x")
    assert [shot.sample for shot in workflow.shots_so_far(store)] == ["a"]
    with store.database.writing() as connection:
        connection.exec_driver_sql("UPDATE setting SET value = '{'")
    workflow.add_shot(store, reading(), sample="b", operator="me", session="x")
    assert [shot.sample for shot in workflow.shots_so_far(store)] == ["b"]
