"""The studio's own yardsticks: every version is kept, the newest that stands is in force."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tracker.calibrate.calibration import LOCUS, SCALE, SPREAD, Swatch, Yardstick, Yardsticks
from tracker.calibrate.gauge_study import Shot
from tracker.calibrate.level import DEFAULT_SCALE
from tracker.calibrate.warmth import DEFAULT_LOCUS, NeutralLocus
from tracker.errors import NotFound
from tracker.maths.quantities import LabMeasured
from tracker.measure.repeatability import Repeatability
from tracker.record.records import from_json, new_id, to_json
from tracker.store import Store

AT = datetime(2026, 3, 3, 9, 30, tzinfo=UTC)
OWN = Repeatability("check", (0.5, 0.2, 0.3), 18.0, False, "Own.", (0.1, 0.0, 0.1), True)
NATURAL = NeutralLocus("own", ((20.0, 1.0, 1.0), (40.0, 5.0, 15.0)), 1.0, 1.0)
GREY = LabMeasured((40.0, 0.0, 0.0), ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))


def version(kind: str = SPREAD, **parts: object) -> Yardstick:
    return Yardstick(new_id(), kind, AT, **parts)  # type: ignore[arg-type]


def test_the_built_in_ones_are_in_force_until_there_are_others(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        assert store.yardsticks.in_force() == Yardsticks()
        assert store.yardsticks.in_force().spread.provisional


def test_a_version_survives_with_the_readings_it_was_made_of(tmp_path: Path) -> None:
    shots = (Shot("a", "me", "Monday", ((40.0, 1.0, 2.0),)),)
    kept = version(spread=OWN, shots=shots, swatches=(Swatch("s", 5.0, GREY),))
    assert from_json(Yardstick, to_json(kept)) == kept
    with Store(tmp_path) as store:
        store.yardsticks.add(kept)
    with Store(tmp_path) as store:
        assert store.yardsticks.versions() == [kept]
        assert store.yardsticks.in_force().spread == OWN


def test_the_newest_of_each_kind_counts_and_undoing_brings_the_one_before_back(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        first = store.yardsticks.add(version(spread=OWN))
        # made by a clock that was set back: the order of saving counts
        second = store.yardsticks.add(
            replace(version(spread=replace(OWN, name="later")), made_at=AT.replace(year=2020))
        )
        store.yardsticks.add(version(SCALE, scale=replace(DEFAULT_SCALE, name="own", provisional=False)))
        store.yardsticks.add(version(LOCUS, locus=NATURAL))
        found = store.yardsticks.in_force()
        assert (found.spread.name, found.scale.name, found.locus.name) == ("later", "own", "own")
        undone = store.yardsticks.stand(second.id, stands=False)
        assert undone.undone_at is not None
        assert store.yardsticks.in_force().spread == OWN
        store.yardsticks.stand(first.id, stands=False)
        assert store.yardsticks.in_force().spread.provisional
        assert [kept.id for kept in store.yardsticks.versions(SPREAD)] == [second.id, first.id]
        store.yardsticks.stand(second.id, stands=True)
        assert store.yardsticks.in_force().spread.name == "later"
        assert store.yardsticks.in_force().locus != DEFAULT_LOCUS
        with pytest.raises(NotFound):
            store.yardsticks.stand(new_id(), stands=True)


def test_a_damaged_version_is_reported_and_the_one_before_counts(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        store.yardsticks.add(version(spread=OWN))
        bad = store.yardsticks.add(version(spread=replace(OWN, name="bad")))
        with store.database.writing() as connection:
            connection.exec_driver_sql("UPDATE yardstick SET record = '{' WHERE id = ?", (bad.id,))
        assert store.yardsticks.in_force().spread == OWN
        assert [(found.kind, found.id) for found in store.damaged_records()] == [("yardstick", bad.id)]
