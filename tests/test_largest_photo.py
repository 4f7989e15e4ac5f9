"""What is accepted can be measured: the largest, least compressible photo, from the upload to the restored backup."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from test_server import ask, house

from tests.scenes import CARD, PATH, hair_outline, photograph, scene
from tests.scenes import marks as drawn_marks
from tracker import workflow
from tracker.errors import TooLarge
from tracker.measure.reading import Marks
from tracker.photo import Limits, decode_photo, read_kept
from tracker.record.records import AFTER, BEFORE, MEASURING, PORTFOLIO, Client, Visit, new_id, now
from tracker.store import Store
from tracker.ui import session
from tracker.workflow.backups import back_up, bring_back
from tracker.workflow.export import export_client

SCALE = 6  # of a scene of 1360 x 1020 to 49.9 million pixels


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    monkeypatch.setenv("TRACKER_HOME", str(tmp_path / "studio"))
    yield session.open_store()
    session.close_stores()


@pytest.fixture
def client(store: Store) -> Client:
    return workflow.add_client(store, "Ada", "", {MEASURING: True, PORTFOLIO: True}, "me")


def noisy(size: tuple[int, int], scale: int, most_bytes: int) -> bytes:
    """The scene enlarged, with as much noise in every pixel as a JPEG of that size can hold."""
    drawn = photograph(scene(size=size)).encoded[..., ::-1]
    large = cv2.resize(drawn, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(4).integers(-40, 41, (1020, 1360, 3), dtype=np.int16)
    for row in range(0, large.shape[0], 1020):
        for column in range(0, large.shape[1], 1360):
            part = large[row : row + 1020, column : column + 1360]
            part[:] = np.clip(part + noise[: part.shape[0], : part.shape[1]], 0, 255)
    for quality in range(80, 5, -5):
        content = cv2.imencode(".jpg", large, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
        if len(content) <= most_bytes:
            return content
    raise AssertionError("no quality is low enough")


# slow: test_a_copy_larger_than_an_upload_may_be_is_read_and_measured guards the same with a small photo
@pytest.mark.slow
def test_the_largest_photo_goes_all_the_way(store: Store, client: Client, tmp_path: Path) -> None:
    content = noisy((1360, 1020), SCALE, Limits().max_bytes)
    placed = (CARD, PATH, hair_outline(1020))
    card, path, outline = (tuple((SCALE * x, SCALE * y) for x, y in points) for points in placed)
    marks = Marks("grey18", card, path, None, outline=outline)  # type: ignore[arg-type]
    photo = workflow.take_in(store, content, client_id=client.id, role=BEFORE, light="daylight")[0]
    kept = store.pictures.get(photo.file)
    assert photo.size[0] * photo.size[1] > 0.99 * Limits().max_pixels
    assert len(kept) > Limits().max_bytes  # the case in question
    workflow.suggest_marks(store, photo, "grey18")
    measured = workflow.measure_record(store, photo, marks)
    assert measured.failure is None
    other = workflow.take_in(store, noisy((1360, 1020), 1, 10**6), client_id=client.id, role=AFTER, light="daylight")[0]
    visit = Visit(new_id(), client.id, now().date(), ("toner",), (), "", "", now())
    draft = workflow.start_draft(store, client.id, "visit")
    workflow.record_visit(store, replace(draft, visit=visit, photos=(measured, other)))
    for shown in ("", "balanced/", "measured/"):
        answer = ask(house(), f"/picture/{measured.id}/{shown}800.jpg")
        assert answer.status == 200, shown
    with zipfile.ZipFile(io.BytesIO(export_client(store, client.id)[0])) as packed:
        assert kept in [packed.read(name) for name in packed.namelist() if name.endswith(".jpg")]
    bring_back(back_up(store), tmp_path / "restored")
    with Store(tmp_path / "restored") as restored:
        again = workflow.measure_record(restored, restored.photos.get(measured.id), marks)
        assert again.reading == measured.reading


def test_a_copy_larger_than_an_upload_may_be_is_read_and_measured(store: Store, client: Client) -> None:
    content = noisy((900, 1100), 1, 400_000)
    limits = Limits(max_bytes=len(content), max_raw_bytes=len(content))
    photo = workflow.take_in(store, content, client_id=client.id, role=BEFORE, light="daylight", limits=limits)[0]
    kept = store.pictures.get(photo.file)
    assert len(kept) > len(content)
    with pytest.raises(TooLarge):
        decode_photo(kept, limits)
    padded = kept.ljust(Limits().max_bytes + 1, b"\0")
    assert np.array_equal(read_kept(padded).encoded, read_kept(kept).encoded)
    with pytest.raises(TooLarge):
        decode_photo(padded)
    assert workflow.measure_record(store, photo, drawn_marks()).reading is not None


def test_copies_keep_the_limit_of_pixels() -> None:
    over = Limits().max_pixels // 8_000 + 1
    large = cv2.imencode(".jpg", np.zeros((over, 8_000), np.uint8))[1].tobytes()
    with pytest.raises(TooLarge, match="megapixels"):
        read_kept(large)
