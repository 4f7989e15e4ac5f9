"""The demo goes the way of real photos, and leaves no trace when it is removed or fails."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from crash_studio import add_client, pictures_in
from PIL import Image

from tests.scenes import CARD, PATH, WIDTH, photograph, scene
from tracker import workflow
from tracker.errors import Conflict, NotFound, StoreDamaged
from tracker.records import BEFORE, MEASURING, PORTFOLIO, PROGRESS
from tracker.store import Store
from tracker.workflow import demo

TODAY = date(2026, 9, 20)


def entry(file: str, client: str, role: str, months: float | None = None, light: str = "D65") -> dict[str, Any]:
    card = {"kind": "grey18", "corners": [list(corner) for corner in CARD]}
    path = [list(point) for point in PATH]
    return {
        "file": file, "client": client, "role": role, "months": months, "light": light, "card": card, "path": path,
        "width": WIDTH,
    }  # fmt: skip


ENTRIES = [
    entry("before.jpg", "Noor", "before"),
    entry("after.jpg", "Noor", "after"),
    entry("lamp.jpg", "Noor", "after", light="A"),
    {**entry("chart.jpg", "Noor", "after"), "card": {**entry("", "", "")["card"], "kind": "chart24"}},
    entry("one.jpg", "Noor", "progress", 1.0),
    entry("six.jpg", "Noor", "progress", 6.0),
    entry("single.jpg", "Maja", "single"),
]


@pytest.fixture(scope="module")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder like that of the sample photos, with drawn ones."""
    folder = tmp_path_factory.mktemp("samples")
    for number, item in enumerate(ENTRIES):
        out = io.BytesIO()
        Image.fromarray(photograph(scene(tip=(50.0 + number, 6.0, 24.0))).encoded).save(out, "JPEG", quality=90)
        (folder / item["file"]).write_bytes(out.getvalue())
    (folder / "truth.json").write_text(json.dumps({"photos": ENTRIES}))
    return folder


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def test_what_is_loaded(store: Store, samples: Path) -> None:
    told: list[tuple[float, str]] = []
    workflow.load_demo(store, samples, lambda share, text: told.append((share, text)), today=TODAY)
    assert workflow.has_demo(store)
    maja, noor = store.clients()
    assert [maja.client.name, noor.client.name] == ["Maja", "Noor"]
    assert maja.client.demo
    assert noor.consents == {MEASURING, PORTFOLIO}
    assert {consent.recorded_by for consent in store.consents(noor.client.id)} == {"demo"}
    (visit,) = store.visits(noor.client.id)
    assert (TODAY - visit.on).days == pytest.approx(6.2 * 30.4375, abs=1)
    assert "demo" in visit.note
    assert [photo.role for photo in store.photos(visit_id=visit.id)] == ["before", "after"]
    progress = store.photos(noor.client.id, role=PROGRESS)
    assert [round((photo.taken_at.date() - visit.on).days / 30.4375) for photo in progress] == [1, 6]
    assert all(photo.taken_at.date() <= TODAY for photo in store.photos())
    assert [photo.role for photo in store.photos(maja.client.id)] == [BEFORE]
    assert all(photo.reading is not None and photo.reading.ok for photo in store.photos())
    assert len(store.portfolio()) == 1
    assert store.drafts() == []
    assert pictures_in(store.root) == {photo.file for photo in store.photos()}
    assert all(earlier <= later for (earlier, _), (later, _) in pairwise(told))
    assert told[-1][0] == 1.0


def test_removing_leaves_real_clients_alone(store: Store, samples: Path) -> None:
    workflow.load_demo(store, samples, today=TODAY)
    real = add_client(store, "Real")
    workflow.remove_demo(store)
    assert not workflow.has_demo(store)
    assert [summary.client for summary in store.clients()] == [real]
    assert pictures_in(store.root) == set()


def test_only_into_an_empty_studio(store: Store, samples: Path) -> None:
    add_client(store, "Real")
    with pytest.raises(Conflict, match="empty"):
        workflow.load_demo(store, samples)
    assert store.usage().clients == 1


@pytest.mark.parametrize("at", range(4))
def test_failing_half_way_leaves_nothing(store: Store, samples: Path, monkeypatch: pytest.MonkeyPatch, at: int) -> None:
    real, calls = demo.measure_record, []

    def fail(*args: Any) -> Any:
        calls.append(args)
        if len(calls) > at:
            raise KeyboardInterrupt
        return real(*args)

    monkeypatch.setattr(demo, "measure_record", fail)
    with pytest.raises(KeyboardInterrupt):
        workflow.load_demo(store, samples)
    assert store.is_empty()
    root = store.root
    store.close()
    with Store(root):
        assert pictures_in(root) == set()


def test_a_photo_that_cannot_be_measured_is_kept_with_the_reason(store: Store, samples: Path, tmp_path: Path) -> None:
    moved = {**ENTRIES[-1], "path": [[-90, -90], [-80, -80]]}
    (tmp_path / "single.jpg").write_bytes((samples / "single.jpg").read_bytes())
    (tmp_path / "truth.json").write_text(json.dumps({"photos": [moved]}))
    workflow.load_demo(store, tmp_path)
    (photo,) = store.photos()
    assert photo.failure


def test_a_list_that_is_not_there_or_damaged(store: Store, samples: Path, tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        workflow.load_demo(store, tmp_path / "nowhere")
    (tmp_path / "truth.json").write_text(json.dumps({"photos": [{"file": "x.jpg"}]}))
    with pytest.raises(StoreDamaged):
        workflow.load_demo(store, tmp_path)
    (tmp_path / "truth.json").write_text(json.dumps({"photos": ENTRIES}))
    with pytest.raises(NotFound, match=r"before\.jpg"):
        workflow.load_demo(store, tmp_path)
    assert store.is_empty()


def test_sample_folder_is_found_or_its_absence_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(demo, "__file__", str(tmp_path / "tracker" / "workflow" / "demo.py"))
    with pytest.raises(NotFound) as caught:
        workflow.sample_folder()
    assert caught.value.advice
    (tmp_path / "sample_images").mkdir()
    (tmp_path / "sample_images" / "truth.json").write_text("{}")
    assert workflow.sample_folder() == tmp_path / "sample_images"
