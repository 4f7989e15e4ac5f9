"""Erased means that no byte is left."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from crash_studio import add_client, files_with, new_draft, new_photo, new_visit, pictures_in, save_pair

from tracker.errors import Conflict, NotFound, StoreError, StoreFull
from tracker.record.records import now
from tracker.store import Store, engine, erasure
from tracker.store.database import Database
from tracker.store.erasure import Erasures
from tracker.store.pictures import Pictures

NAME, NOTE, WORDS, CAMERA, PICTURE, DRAFT = (
    f"qx{place}token{place}xq".encode() for place in ("name", "note", "words", "camera", "picture", "draft")
)
TOKENS = (NAME, NOTE, WORDS, CAMERA, PICTURE, DRAFT)


def plant(store: Store) -> str:
    """A client with a token wherever words or bytes can be; returns the identifier."""
    client = add_client(store, NAME.decode(), NOTE.decode())
    store.clients.change(client.id, lambda kept: replace(kept, note=f"first {NOTE.decode()}"))
    visit = new_visit(client.id, note=WORDS.decode())
    photo = replace(new_photo(store, client.id, PICTURE * 50, visit_id=visit.id), camera=CAMERA.decode())
    saved = store.visits.save(visit, [photo])
    store.visits.save(replace(saved, next_time=WORDS.decode() * 300), [photo])
    in_draft = replace(new_photo(store, client.id, DRAFT * 50), camera=CAMERA.decode())
    store.drafts.save(new_draft(client.id, new_visit(client.id, note=DRAFT.decode()), (in_draft,)))
    return client.id


# promise 31
@pytest.mark.parametrize("reopened", [False, True])
def test_no_byte_is_left(tmp_path: Path, reopened: bool) -> None:
    store = Store(tmp_path)
    others = [add_client(store, f"Other {number}") for number in range(20)]
    visits = [save_pair(store, other.id, b"b%d" % number) for number, other in enumerate(others)]
    client_id = plant(store)
    store.database.layout.safety_copy.write_bytes(b"copy with " + NAME)
    if reopened:
        store.close()
        store = Store(tmp_path)
    with store:
        assert {token for _, token in files_with(tmp_path, TOKENS)} == set(TOKENS)
        receipt = store.erasures.erase(client_id)
        assert (receipt.client_id, receipt.counts.visits, receipt.counts.photos, receipt.counts.files) == (
            client_id,
            1,
            1,
            2,
        )
        assert files_with(tmp_path, TOKENS) == []
        assert (tmp_path / "database.sqlite-wal").exists()
        assert [(line.client_id, line.erased_at) for line in store.erasures.all()] == [(client_id, receipt.erased_at)]
        assert [store.visits.of_client(other.id) for other in others] == [[visit] for visit in visits]
    assert files_with(tmp_path, TOKENS) == []


def test_remains_of_a_program_that_does_not_overwrite_go_too(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client = add_client(store, "Ada", NOTE.decode() * 99)
        with closing(sqlite3.connect(tmp_path / "database.sqlite")) as other:
            other.execute("PRAGMA secure_delete=OFF")
            other.execute("UPDATE client SET record = replace(record, ?, ''), search = ''", (NOTE.decode(),))
            other.commit()
            other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        assert files_with(tmp_path, [NOTE]) == [("database.sqlite", NOTE)]
        store.erasures.erase(client.id)
        assert files_with(tmp_path, [NOTE]) == []


def test_a_picture_that_another_client_has_too_stays(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        ada, bea = add_client(store, "Ada"), add_client(store, "Bea")
        save_pair(store, ada.id, b"shared", b"own")
        kept = store.photos.save(new_photo(store, bea.id, b"shared"))
        assert store.erasures.erase(ada.id).counts.files == 1
        assert store.pictures.get(kept.file) == b"shared"
        assert pictures_in(tmp_path) == {kept.file}


def test_erasing_twice(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client = add_client(store)
        store.erasures.erase(client.id)
        with pytest.raises(NotFound):
            store.erasures.erase(client.id)
        with pytest.raises(NotFound):
            store.clients.get(client.id)


def test_a_damaged_client_can_be_erased(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client = add_client(store)
        with store.database.writing() as connection:
            connection.exec_driver_sql("UPDATE client SET record = '{'")
        store.erasures.erase(client.id)
        assert store.damaged_records() == []
        assert store.is_empty()


# promise 31: a photo whose taking in was broken off is named by no record, and shows the client all the same
def test_pictures_that_no_record_names_go_too(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client, other = add_client(store, "Ada"), add_client(store, "Bea")
        kept = store.photos.save(new_photo(store, other.id, b"kept")).file
        left, again, half = (
            store.pictures.put(b"left"),
            store.pictures.put(b"put again"),
            tmp_path / "pictures/ab/c.tmp",
        )
        half.parent.mkdir(exist_ok=True)
        half.write_bytes(b"half")
        long_ago = (now() - timedelta(hours=1)).timestamp()
        for path in (half, *map(store.pictures.path, (kept, left, again))):
            os.utime(path, (long_ago, long_ago))
        store.pictures.put(b"put again")
        in_hand = store.pictures.put(b"being taken in by another window")
        assert store.erasures.erase(client.id).counts.files == 0
        assert pictures_in(tmp_path) == {kept, again, in_hand}
        assert not half.exists()


def test_a_left_picture_that_the_disk_keeps_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "in use")

    with Store(tmp_path) as store:
        client = add_client(store)
        left = store.pictures.path(store.pictures.put(b"left"))
        os.utime(left, (0, 0))
        with monkeypatch.context() as patched:
            patched.setattr(Path, "unlink", refuse)
            with pytest.raises(StoreError, match="no record names"):
                store.erasures.erase(client.id)
        with store.database.reading() as connection:
            assert connection.exec_driver_sql("SELECT finished_at FROM erasure").scalar() is None
    Store(tmp_path).close()
    assert pictures_in(tmp_path) == set()


def test_a_window_that_reads_on_delays_the_end_of_an_erasure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "BUSY_SECONDS", 0.1)
    with Store(tmp_path) as store:
        client_id = plant(store)
        with closing(sqlite3.connect(tmp_path / "database.sqlite")) as reader:
            reader.execute("BEGIN")
            reader.execute("SELECT count(*) FROM client").fetchone()
            with pytest.raises(Conflict, match="still reads"):
                store.erasures.erase(client_id)
        assert store.is_empty()
        (receipt,) = store.erasures.receipts()
        assert receipt.counts is not None
        assert (receipt.counts.visits, receipt.counts.photos, receipt.counts.files) == (1, 1, 2)
    with Store(tmp_path) as store:
        assert files_with(tmp_path, TOKENS) == []
        assert store.erasures.receipts() == [receipt]


def test_a_picture_that_the_disk_keeps_is_told_and_goes_at_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "in use")

    with Store(tmp_path) as store:
        client = add_client(store)
        photo = store.photos.save(new_photo(store, client.id, b"kept open"))
        with monkeypatch.context() as patched:
            patched.setattr(Path, "unlink", refuse)
            store.photos.delete(photo.id)
            with pytest.raises(StoreError, match="in use"):
                store.erasures.erase(client.id)
        assert pictures_in(tmp_path) == {photo.file}
        with monkeypatch.context() as patched:
            patched.setattr(Path, "unlink", refuse)
            store.close()
            Store(tmp_path).close()
    assert pictures_in(tmp_path) == {photo.file}
    with Store(tmp_path) as store:
        assert pictures_in(tmp_path) == set()
        with store.database.reading() as connection:
            assert connection.exec_driver_sql("SELECT finished_at FROM erasure").scalar() is not None


@pytest.mark.parametrize("cut_off_at", ["the pictures", "the words"])
def test_an_erasure_on_a_full_disk_that_was_cut_off_is_finished_at_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cut_off_at: str
) -> None:
    def full(*_: object) -> None:
        raise StoreFull("The disk is full.")

    def cut_off(*_: object) -> None:
        raise KeyboardInterrupt

    with Store(tmp_path) as store:
        other = add_client(store, "Other")
        save_pair(store, other.id, b"kept", b"kept too")
        client_id = plant(store)
        with monkeypatch.context() as patched:
            patched.setattr(Erasures, "_erase_rows", full)
            if cut_off_at == "the pictures":
                patched.setattr(Pictures, "remove", cut_off)
            with pytest.raises(KeyboardInterrupt if cut_off_at == "the pictures" else StoreFull):
                store.erasures.erase(client_id)
        assert len(pictures_in(tmp_path)) == (4 if cut_off_at == "the pictures" else 2)
    with Store(tmp_path) as store:
        assert files_with(tmp_path, TOKENS) == []
        assert len(pictures_in(tmp_path)) == 2
        assert [summary.client for summary in store.clients.summaries()] == [other]
        assert [line.client_id for line in store.erasures.all()] == [client_id]


def test_where_there_is_no_room_to_write_the_file_once_more_no_byte_is_left_either(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Store(tmp_path) as store:
        for number in range(20):
            save_pair(store, add_client(store, f"Other {number}").id, b"b%d" % number)
        client_id = plant(store)
        with monkeypatch.context() as patched:
            patched.setattr(erasure, "free_bytes", lambda _folder: 0)
            store.erasures.erase(client_id)
        assert files_with(tmp_path, TOKENS) == []
        with store.database.reading() as connection:
            assert connection.exec_driver_sql("SELECT finished_at FROM erasure").scalar() is None
    with Store(tmp_path) as store, store.database.reading() as connection:
        assert connection.exec_driver_sql("SELECT finished_at FROM erasure").scalar() is not None


def test_an_erasure_that_was_cut_off_is_finished_at_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Store(tmp_path) as store:
        client_id = plant(store)

        def cut_off(_self: Store, _names: object) -> int:
            raise KeyboardInterrupt

        with monkeypatch.context() as patched:
            patched.setattr(Database, "discard_files", cut_off)
            with pytest.raises(KeyboardInterrupt):
                store.erasures.erase(client_id)
        assert files_with(tmp_path, TOKENS) != []
    with Store(tmp_path) as store:
        assert files_with(tmp_path, TOKENS) == []
        assert pictures_in(tmp_path) == set()
        assert [line.client_id for line in store.erasures.all()] == [client_id]
