"""The studio's own yardsticks without a browser: gathered from photos that are not kept, used, shown, undone."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import pytest
from scenes import ribbon
from streamlit.testing.v1 import AppTest
from test_pages_harness import NASTY, Filled, assert_no_failure, drawn_photo, open_page, sent, words

from tracker import workflow
from tracker.calibrate.calibration import LOCUS, SCALE, SPREAD, Swatch, Yardstick
from tracker.calibrate.gauge_study import Shot
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.calibrate.warmth import DEFAULT_LOCUS
from tracker.errors import NotFound
from tracker.maths.quantities import LabMeasured
from tracker.measure.reading import WHOLE
from tracker.measure.repeatability import Repeatability
from tracker.record.records import new_id, now, to_json
from tracker.store import Store
from tracker.ui import passing
from tracker.ui.parts.held import key_of
from tracker.ui.parts.passing_photos import _Passing
from tracker.workflow.photos import settings_in_force

pytest_plugins = ("test_pages_harness",)


def add(test: AppTest, key: str, content: bytes | list[bytes]) -> AppTest:
    """Hand photos over and confirm their marks, each where they fit."""
    contents = content if isinstance(content, list) else [content]
    uploader = next(found.key for found in test.file_uploader if found.key.startswith(f"{key}-upload-"))
    files = [(f"{number}.jpg", each, "image/jpeg") for number, each in enumerate(contents)]
    test.file_uploader(key=uploader).set_value(files).run()
    assert_no_failure(test)
    for _ in contents:
        photo = test.session_state[key_of(_Passing, key)].waiting[0]
        test.session_state[f"passing-{photo.id}"] = sent()
        test.button(key=f"{key}-right").click().run()
        assert_no_failure(test)
    return test


def gather(store: Store, name: str, readings: Sequence[object]) -> None:
    """As if these had been gathered one by one."""
    store.settings.change_list(name, lambda _: [json.loads(to_json(reading)) for reading in readings])


def lab(lightness: float, a: float = 6.0, b: float = 15.0) -> LabMeasured:
    return LabMeasured((lightness, a, b), ((0.4, 0.0, 0.0), (0.0, 0.2, 0.0), (0.0, 0.0, 0.2)), 30.0)


@pytest.mark.parametrize("name", ["set_up_check", "level_scale", "neutral", "studio"])
def test_pages_open_on_an_empty_studio_and_say_what_is_provisional(store: Store, name: str) -> None:
    test = open_page(name)
    assert_no_failure(test)
    assert "rovisional" in words(test) or "published natural hair" in words(test)


def test_set_up_check_from_photos_that_are_not_kept(store: Store) -> None:
    test = open_page("set_up_check")
    test.text_input(key="set-up-sample-0").set_value(NASTY[1]).run()
    add(test, "set-up", [drawn_photo(40.0, seed=seed) for seed in (3, 4)])
    assert [shot.sample for shot in workflow.shots_so_far(store)] == [NASTY[1]] * 2
    assert "Only 1 of these photos repeat" in words(test)
    assert store.disk.usage().pictures == 0
    assert passing._held == {}
    assert not any(path.suffix == ".jpg" for path in Path(store.root).rglob("*"))
    test.button(key="set-up-drop-newest").click().run()
    assert_no_failure(test)
    assert len(workflow.shots_so_far(store)) == 1


def test_a_check_that_is_large_enough_is_used_and_can_be_undone(store: Store) -> None:
    rows = ((30.0, 30.9, 29.6), (41.0, 41.5, 40.2), (55.0, 54.2, 55.9), (62.0, 62.2, 61.1))
    shots = [
        Shot(f"swatch {index}", "me", "Monday", ((value, 5.0, 12.0),) * 3, WHOLE)
        for index, row in enumerate(rows)
        for value in row
    ]
    gather(store, "set-up check so far", shots)
    test = open_page("set_up_check")
    assert_no_failure(test)
    assert "Photo to photo" in words(test)
    test.button(key="set-up-adopt").click().run()
    assert_no_failure(test)
    own = store.yardsticks.in_force().spread
    assert not own.provisional
    assert own.dof == 8
    # by hand: mean of the swatches' variances 0.4433, 0.4300, 0.7233 and 0.3433
    assert own.sd[0] == pytest.approx(0.485**0.5, abs=1e-3)
    assert own.sd[1:] == (0.0, 0.0)
    assert workflow.shots_so_far(store) == ()
    assert settings_in_force(store).repeatability == own
    assert "In your studio" in words(open_page("studio"))
    test.button(key=f"undo-{SPREAD}").click().run()
    assert_no_failure(test)
    assert store.yardsticks.in_force().spread.provisional
    [kept] = store.yardsticks.versions(SPREAD)
    test.button(key=f"stand-{kept.id}").click().run()
    assert store.yardsticks.in_force().spread == own


def test_swatches_make_a_scale_that_kept_readings_follow(filled: Filled) -> None:
    store = filled.store
    before = words(open_page("compare", visit=filled.visit.id))
    assert "Levels are provisional" in before
    test = open_page("level_scale")
    for number, (level, tip) in enumerate(((4.0, 30.0), (6.0, 52.0), (8.0, 76.0))):
        assert test.number_input(key=f"scale-level-{number}").value is None
        test.number_input(key=f"scale-level-{number}").set_value(level).run()
        add(test, "scale", drawn_photo(tip, seed=int(level)))
    assert [swatch.level for swatch in workflow.swatches_so_far(store, SCALE)] == [4.0, 6.0, 8.0]
    assert "reads like level" in words(test)
    test.button(key="scale-adopt").click().run()
    assert_no_failure(test)
    own = store.yardsticks.in_force().scale
    assert not own.provisional
    after = words(open_page("compare", visit=filled.visit.id))
    assert own.name in after.replace("\\", "")
    assert "Levels are provisional" not in after
    assert before != after
    for name, query in (("client", {"client": filled.client.id}), ("studio", {}), ("portfolio", {}), ("today", {})):
        assert_no_failure(open_page(name, **query))
    test = open_page("level_scale")
    test.button(key=f"undo-{SCALE}").click().run()
    assert store.yardsticks.in_force().scale == DEFAULT_SCALE
    assert "Levels are provisional" in words(open_page("compare", visit=filled.visit.id))


def test_a_swatch_without_a_level_is_asked_for_it(store: Store) -> None:
    test = open_page("level_scale")
    uploader = next(found.key for found in test.file_uploader if found.key.startswith("scale-upload-"))
    test.file_uploader(key=uploader).set_value([("a.jpg", drawn_photo(40.0), "image/jpeg")]).run()
    photo = test.session_state[key_of(_Passing, "scale")].waiting[0]
    test.session_state[f"passing-{photo.id}"] = sent()
    test.button(key="scale-right").click().run()
    assert_no_failure(test)
    assert "swatch has no level" in words(test)
    test.number_input(key="scale-level-0").set_value(5.0).run()
    test.button(key="scale-right").click().run()
    assert [swatch.level for swatch in workflow.swatches_so_far(store, SCALE)] == [5.0]
    test.button(key=f"{SCALE}-out-0").click().run()
    assert workflow.swatches_so_far(store, SCALE) == ()


def test_what_makes_no_scale_says_why(store: Store) -> None:
    gather(store, f"{SCALE} so far", [Swatch("a", 5.0, lab(60.0)), Swatch("b", 7.0, lab(40.0))])
    assert "at least 3 levels" in words(open_page("level_scale"))
    more = [Swatch("a", 5.0, lab(60.0)), Swatch("b", 7.0, lab(40.0)), Swatch("c", 9.0, lab(70.0))]
    gather(store, f"{SCALE} so far", more)
    assert "reads darker than" in words(open_page("level_scale"))


def test_natural_hair_moves_what_is_neutral_and_the_page_says_so(filled: Filled) -> None:
    store = filled.store
    rows = [(28.0, 2.0), (40.0, 2.0), (56.0, 2.0)]
    swatches = []
    for lightness, step in rows:
        a, b = DEFAULT_LOCUS.at(lightness)
        swatches.append(Swatch(f"lock {lightness:g}", None, lab(lightness, a, b + step)))
    gather(store, f"{LOCUS} so far", swatches)
    test = open_page("neutral")
    assert_no_failure(test)
    test.button(key="neutral-adopt").click().run()
    assert_no_failure(test)
    assert store.yardsticks.in_force().locus.own == (28.0, 56.0)
    assert "your own natural hair" in words(open_page("compare", visit=filled.visit.id))
    assert_no_failure(open_page("client", client=filled.client.id))
    test = open_page("neutral")
    test.button(key="neutral-again").click().run()
    assert_no_failure(test)
    assert workflow.swatches_so_far(store, LOCUS) == tuple(swatches)


def test_photos_that_were_not_confirmed_are_served_from_memory_only() -> None:
    photo = workflow.look_at(drawn_photo(40.0), "grey18")
    passing.hold(photo)
    assert passing.held(photo.id) is photo
    assert b"Exif" not in photo.content
    passing.let_go(photo.id)
    with pytest.raises(NotFound):
        passing.held(photo.id)


def test_an_own_check_narrows_what_photos_of_it_claim(store: Store) -> None:
    photo = workflow.look_at(drawn_photo(40.0), "grey18")
    along = ribbon()  # a ribbon: what the check of this test was made on
    wide, why = workflow.measure_passing(store, photo, along)
    assert why == ""
    own = Repeatability("check", (0.3, 0.1, 0.1), 30.0, False, "Own.", (0.1, 0.0, 0.0), covers_light=True)
    store.yardsticks.add(Yardstick(new_id(), SPREAD, now(), spread=own))
    narrow, _ = workflow.measure_passing(store, photo, along)
    assert wide is not None
    assert narrow is not None
    for before, after in zip(wide.regions, narrow.regions, strict=True):
        assert after.repeat_cov[0][0] < before.repeat_cov[0][0]
        assert after.lab.lab == before.lab.lab
