"""Records as an earlier version kept them: all open, none is changed, and each says how its hair was read."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from test_pages_harness import assert_no_failure, open_page, words

from tracker import METHOD_VERSION, workflow
from tracker.calibrate.calibration import SCALE, SPREAD, Yardstick, level_of
from tracker.calibrate.gauge_study import Shot
from tracker.compare.past_results import Outcome
from tracker.compare.photo_set import kit_of
from tracker.measure.reading import RIBBON, WHOLE
from tracker.measure.repeatability import PROVISIONAL
from tracker.record.records import Client, Consent, Draft, PhotoRecord, Visit, from_json, to_json
from tracker.store import Store, engine, migrate
from tracker.store.rows import client_row, consent_row, draft_row, photo_row, visit_row, yardstick_row
from tracker.ui import session
from tracker.wear import ServiceReadings
from tracker.workflow.learning import Learning
from tracker.workflow.wearing import client_wear

KEPT = Path(__file__).parent / "golden" / "records_1.2.json"
LAST_SCHEMA = "0009"
SHAPES: dict[str, type[Any]] = {
    "client": Client,
    "consents": Consent,
    "visit": Visit,
    "photos": PhotoRecord,
    "draft": Draft,
    "yardsticks": Yardstick,
    "shots so far": Shot,
    "wear": ServiceReadings,
    "outcomes": Outcome,
}


@cache
def kept() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(KEPT.read_text("utf-8"))
    return found


def entries(name: str) -> list[dict[str, Any]]:
    found = kept()[name]
    return found if isinstance(found, list) else [found]


def missing(before: Any, after: Any, where: str = "") -> list[str]:
    """What the earlier JSON says and the later one does not, or says otherwise."""
    if isinstance(before, dict):
        return [
            line
            for name, value in before.items()
            for line in (missing(value, after[name], f"{where}.{name}") if name in after else [f"{where}.{name}"])
        ]
    if isinstance(before, list):
        if len(before) != len(after):
            return [where]
        return [line for one, other in zip(before, after, strict=True) for line in missing(one, other, f"{where}[]")]
    return [] if before == after else [where]


@pytest.mark.parametrize("name", list(SHAPES))
def test_every_field_of_an_earlier_record_comes_back_as_it_was(name: str) -> None:
    assert entries(name)
    for entry in entries(name):
        record = from_json(SHAPES[name], json.dumps(entry))
        written = to_json(record)
        assert from_json(SHAPES[name], written) == record
        assert missing(entry, json.loads(written)) == []


def test_each_says_that_it_was_read_along_a_ribbon() -> None:
    for entry in entries("photos"):
        photo = from_json(PhotoRecord, json.dumps(entry))
        assert photo.reading is not None
        assert photo.marks is not None
        assert (photo.reading.method_version, photo.reading.hair, photo.marks.hair) == ("1.2", RIBBON, RIBBON)
        assert (photo.card_stood, photo.combed_anew, photo.lens_mm) == (None, None, None)
    assert from_json(Visit, json.dumps(kept()["visit"])).limits.hair == RIBBON
    for name, shape in (("wear", ServiceReadings), ("outcomes", Outcome), ("shots so far", Shot)):
        assert {from_json(shape, json.dumps(entry)).hair for entry in entries(name)} == {RIBBON}
    versions = [from_json(Yardstick, json.dumps(entry)) for entry in entries("yardsticks")]
    spread = next(version.spread for version in versions if version.kind == SPREAD)
    assert spread is not None
    assert (spread.hair, spread.over(WHOLE)) == (RIBBON, PROVISIONAL)
    for text in kept()["learnt"]:
        assert all(each.hair == RIBBON for each in from_json(Learning, json.loads(text)).found)


@pytest.fixture
def earlier(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A studio's folder with the database of the version before, and those records in it."""
    root = tmp_path / "studio"
    monkeypatch.setenv("TRACKER_HOME", str(root))
    root.mkdir()
    made = engine.make_engine(root / "database.sqlite", foreign_keys=False)
    with made.begin() as connection:
        command.upgrade(migrate.alembic_config(connection), LAST_SCHEMA)
    made.dispose()
    rows = {
        "client": [(client_row, Client, kept()["client"])],
        "consent": [(consent_row, Consent, entry) for entry in entries("consents")],
        "visit": [(visit_row, Visit, kept()["visit"])],
        "photo": [(photo_row, PhotoRecord, entry) for entry in entries("photos")],
        "draft": [(draft_row, Draft, kept()["draft"])],
        "yardstick": [(yardstick_row, Yardstick, entry) for entry in entries("yardsticks")],
    }
    with closing(sqlite3.connect(root / "database.sqlite")) as database:
        for table, each in rows.items():
            columns = [row[1] for row in database.execute(f"PRAGMA table_info({table})")]
            for to_row, shape, entry in each:
                row = {**to_row(from_json(shape, json.dumps(entry))), "record": json.dumps(entry)}
                there = [name for name in columns if name in row]
                marks = ", ".join("?" * len(there))
                query = f"INSERT INTO {table} ({', '.join(there)}) VALUES ({marks})"
                database.execute(query, [row[name] for name in there])
        database.execute("DELETE FROM studio")
        database.commit()
    return root


def test_a_studio_of_the_version_before_is_upgraded_and_counted(earlier: Path) -> None:
    with Store(earlier) as store:
        assert store.damaged_records() == []
        found = store.remeasuring.older(METHOD_VERSION)
        assert (found.waiting, found.left, found.all) == (len(entries("photos")), 0, len(entries("photos")))
        for entry in entries("photos"):
            assert missing(entry, json.loads(to_json(store.photos.get(entry["id"])))) == []
        # a client's wear is worked out along the ribbon, as before
        due, services = client_wear(store, kept()["client"]["id"])
        assert [(each.hair, each.occasions) for each in services] == [(RIBBON, 2)]
        assert not due.to_confirm
        own = store.yardsticks.in_force()
        assert own.spread.hair == RIBBON
        assert not own.scale.provisional
        # swatches of the version before count for a photo of this one as they did for theirs
        photo = store.photos.get(entries("photos")[1]["id"])
        assert photo.reading is not None
        [version] = store.yardsticks.versions(SCALE)
        assert all(swatch.kit is not None and swatch.kit.method == "1.2" for swatch in version.swatches)
        assert level_of(photo.reading.regions[0], kit_of(photo), own).value is not None


def test_every_page_opens_on_it(earlier: Path) -> None:
    try:
        store = session.open_store()
        client_id, visit_id = kept()["client"]["id"], kept()["visit"]["id"]
        shown = {
            name: open_page(name, **query)
            for name, query in {
                "today": {},
                "due": {},
                "client": {"client": client_id},
                "compare": {"visit": visit_id},
                "results": {},
                "services_wear": {},
                "portfolio": {},
                "studio": {},
                "data": {},
                "set_up_check": {},
                "level_scale": {},
            }.items()
        }
        for test in shown.values():
            assert_no_failure(test)
        assert f"{len(entries('photos'))} photos were measured by an earlier method" in words(shown["data"])
        assert "made on a ribbon, by the earlier method" in words(shown["set_up_check"])
        assert workflow.shots_so_far(store) == ()
    finally:
        session.close_stores()
