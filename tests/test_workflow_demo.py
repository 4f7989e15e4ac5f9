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

import tracker
from tests.samples import SAMPLES
from tests.scenes import CARD, OUTLINE, PATH, photograph, scene
from tracker import workflow
from tracker.errors import Conflict, NotFound, StoreDamaged
from tracker.measure.reading import WHOLE
from tracker.record.records import BEFORE, MEASURING, PORTFOLIO, PROGRESS
from tracker.store import Store
from tracker.workflow import demo

TODAY = date(2026, 9, 20)


def entry(file: str, client: str, role: str, months: float | None = None, light: str = "D65") -> dict[str, Any]:
    card = {"kind": "grey18", "corners": [list(corner) for corner in CARD]}
    outline, path = ([list(point) for point in points] for points in (OUTLINE, PATH))
    return {
        "file": file, "client": client, "role": role, "months": months, "light": light, "card": card,
        "outline": outline, "path": path,
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
    (folder / "photos.json").write_text(json.dumps({"photos": ENTRIES}))
    return folder


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def test_what_is_loaded(store: Store, samples: Path) -> None:
    told: list[tuple[float, str]] = []
    workflow.load_demo(store, samples, lambda share, text: told.append((share, text)), today=TODAY)
    assert workflow.has_demo(store)
    maja, noor = store.clients.summaries()
    assert [maja.client.name, noor.client.name] == ["Maja", "Noor"]
    assert maja.client.demo
    assert store.consents.given(noor.client.id, MEASURING)
    assert store.consents.given(noor.client.id, PORTFOLIO)
    assert {consent.recorded_by for consent in store.consents.of_client(noor.client.id)} == {"demo"}
    (visit,) = store.visits.of_client(noor.client.id)
    assert (TODAY - visit.on).days == pytest.approx(6.2 * 30.4375, abs=1)
    assert "demo" in visit.note
    assert [photo.role for photo in store.photos.find(visit_id=visit.id)] == ["before", "after"]
    progress = store.photos.find(noor.client.id, role=PROGRESS)
    assert [round((photo.taken_at.date() - visit.on).days / 30.4375) for photo in progress] == [1, 6]
    assert all(photo.taken_at.date() <= TODAY for photo in store.photos.find())
    assert [photo.role for photo in store.photos.find(maja.client.id)] == [BEFORE]
    for photo in store.photos.find():
        assert photo.reading is not None
        assert photo.reading.ok
        assert photo.reading.hair == WHOLE
        assert photo.card_stood
    assert len(store.portfolio.entries()) == 1
    assert store.drafts.find() == []
    assert pictures_in(store.root) == {photo.file for photo in store.photos.find()}
    assert all(earlier <= later for (earlier, _), (later, _) in pairwise(told))
    assert told[-1][0] == 1.0


def test_removing_leaves_real_clients_alone(store: Store, samples: Path) -> None:
    workflow.load_demo(store, samples, today=TODAY)
    real = add_client(store, "Real")
    workflow.remove_demo(store)
    assert not workflow.has_demo(store)
    assert [summary.client for summary in store.clients.summaries()] == [real]
    assert pictures_in(store.root) == set()


def test_only_into_an_empty_studio(store: Store, samples: Path) -> None:
    add_client(store, "Real")
    with pytest.raises(Conflict, match="empty"):
        workflow.load_demo(store, samples)
    assert store.disk.usage().clients == 1


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
    (tmp_path / "photos.json").write_text(json.dumps({"photos": [moved]}))
    workflow.load_demo(store, tmp_path)
    (photo,) = store.photos.find()
    assert photo.failure


def test_a_list_that_is_not_there_or_damaged(store: Store, samples: Path, tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        workflow.load_demo(store, tmp_path / "nowhere")
    (tmp_path / "photos.json").write_text(json.dumps({"photos": [{"file": "x.jpg"}]}))
    with pytest.raises(StoreDamaged):
        workflow.load_demo(store, tmp_path)
    (tmp_path / "photos.json").write_text(json.dumps({"photos": ENTRIES}))
    with pytest.raises(NotFound, match=r"before\.jpg"):
        workflow.load_demo(store, tmp_path)
    assert store.is_empty()


def test_the_demo_s_own_photos_are_inside_the_program_and_marked_as_their_truth_says() -> None:
    folder = demo.sample_folder()
    assert folder.is_relative_to(Path(tracker.__file__).parent)
    truth = {photo["file"]: photo for photo in SAMPLES}
    listed = json.loads((folder / "photos.json").read_text("utf-8"))["photos"]
    for photo in listed:
        told = {key: value for key, value in photo.items() if key not in ("outline", "path")}
        assert {key: truth[photo["file"]][key] for key in told} == told
    # each of them is shown: none is carried along that the demo leaves out
    samples = demo.read_samples(folder)
    assert [sample.path.name for sample in samples] == [photo["file"] for photo in listed]
    heads = [[sample for sample in samples if sample.client == name] for name in {each.client for each in samples}]
    assert all(demo._alike(head) == head for head in heads)
    assert {sample.path for sample in samples} == set(folder.glob("*.jpg"))


def test_the_demo_shows_plain_and_two_part_cards_of_known_size() -> None:
    samples = demo.read_samples(demo.sample_folder())
    kinds = {sample.client: sample.marks.card_kind for sample in samples}
    assert kinds == {"Noor": "grey18", "Ines": "grey18", "Maja": "steps2", "Orla": "steps2"}
    # 8.4 by 11.6 cm: sample_images/make/scenes.json
    assert {sample.marks.size_mm for sample in samples} == {(84.0, 116.0)}
