"""Picture files: whole or not there, private, within the limit, and never outside their folder."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from crash_studio import add_client, new_draft, new_photo, pictures_in, save_pair

from tracker.errors import NotFound, StoreDamaged, StoreError, StoreFull
from tracker.store import Store, data_folder
from tracker.store.pictures import Pictures


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def test_a_picture_is_kept_once_under_its_digest(store: Store) -> None:
    name = store.pictures.put(b"content")
    assert name == store.pictures.put(b"content") == hashlib.sha256(b"content").hexdigest()
    assert store.pictures.path(name) == store.root / "pictures" / name[:2] / f"{name}.jpg"
    assert store.pictures.get(name) == b"content"
    assert pictures_in(store.root) == {name}


def test_an_altered_picture_is_refused_and_heals_when_put_again(store: Store) -> None:
    name = store.pictures.put(b"content")
    store.pictures.path(name).write_bytes(b"c0ntent")
    with pytest.raises(StoreDamaged):
        store.pictures.get(name)
    store.pictures.put(b"content")
    assert store.pictures.get(name) == b"content"


@pytest.mark.parametrize(
    "name",
    [
        "ab" * 32,
        "",
        "..",
        "../../database.sqlite",
        "/etc/passwd",
        "AB" * 32,
        "ab" * 32 + "\n",
        "ab" * 31 + "/.",
        "\0" * 64,
    ],
)
def test_only_digests_are_names(store: Store, name: str) -> None:
    for ask in (store.pictures.get, store.pictures.path):
        with pytest.raises(NotFound):
            ask(name)


def test_taking_a_picture_never_writes_into_one_that_is_shared(tmp_path: Path) -> None:
    one, other = Pictures(tmp_path / "one"), Pictures(tmp_path / "other")
    name = one.put(b"content")
    assert other.share(name, one)
    other.take(name, b"altered")
    assert one.get(name) == b"content"


# promise 20
def test_order_of_saving_survives_a_power_cut(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[str] = []
    real_fsync, real_replace = os.fsync, os.replace

    def fsync(descriptor: int) -> None:
        done.append("folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file")
        real_fsync(descriptor)

    def replace(source: Path, target: Path) -> None:
        done.append("name")
        real_replace(source, target)

    store.pictures.put(b"makes the folder")
    folder = hashlib.sha256(b"makes the folder").hexdigest()[:2]
    content = next(c for c in (b"%d" % n for n in range(9999)) if hashlib.sha256(c).hexdigest()[:2] == folder)
    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(os, "replace", replace)
    store.pictures.put(content)
    assert done == ["file", "name", "folder"]


# promise 22
@pytest.mark.parametrize("step", ["fsync", "replace"])
@pytest.mark.parametrize(("number", "error"), [(errno.ENOSPC, StoreFull), (errno.EIO, StoreError)])
def test_a_disk_that_fails_leaves_nothing(
    store: Store, monkeypatch: pytest.MonkeyPatch, step: str, number: int, error: type[StoreError]
) -> None:
    def fail(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    with monkeypatch.context() as patched:
        patched.setattr(os, step, fail)
        with pytest.raises(error) as caught:
            store.pictures.put(b"content")
    assert type(caught.value) is error
    assert caught.value.advice
    assert [path for path in (store.root / "pictures").rglob("*") if path.is_file()] == []


# promise 10
def test_what_does_not_fit_is_refused_and_the_rest_can_be_read(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client = add_client(store)
        kept = store.photos.save(new_photo(store, client.id, b"x" * 1000))
        store.disk.set_limit((store.disk.usage().bytes + 100_000) / 1e9)
        with pytest.raises(StoreFull) as caught:
            store.pictures.put(b"y" * 200_000)
        assert caught.value.value is not None
        assert caught.value.limit is not None
        assert caught.value.value > caught.value.limit
        assert pictures_in(tmp_path) == {kept.file}
        assert store.disk.usage().pictures == 1
        assert store.pictures.put(b"x" * 1000) == kept.file
        assert store.pictures.get(kept.file) == b"x" * 1000
        assert store.photos.get(kept.id) == kept


# promise 22
def test_left_overs_are_swept_at_the_next_start(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client = add_client(store)
        visit = save_pair(store, client.id)
        in_draft = new_photo(store, client.id, b"in a draft")
        store.drafts.save(new_draft(client.id, None, (in_draft,)))
        wanted = {photo.file for photo in store.photos.find(visit_id=visit.id)} | {in_draft.file}
        orphan = store.pictures.put(b"nobody's")
        unfinished = store.pictures.path(orphan).with_name("half.tmp")
        unfinished.write_bytes(b"half")
    with Store(tmp_path) as store:
        assert pictures_in(tmp_path) == wanted
        assert not unfinished.exists()


def test_a_second_window_sweeps_nothing_that_the_first_is_about_to_save(tmp_path: Path) -> None:
    with Store(tmp_path) as first:
        client = add_client(first)
        photo = new_photo(first, client.id, b"just taken")
        with Store(tmp_path):
            pass
        assert first.photos.save(photo) == photo
        assert first.pictures.get(photo.file) == b"just taken"


def test_photos_without_their_database_are_left_alone(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        store.photos.save(new_photo(store, add_client(store).id, b"precious"))
    for path in tmp_path.glob("database.sqlite*"):
        path.unlink()
    with pytest.raises(StoreDamaged, match="database is gone"):
        Store(tmp_path)
    assert len(pictures_in(tmp_path)) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="rights are another matter there")
def test_files_are_private(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        with Store(tmp_path / "studio") as store:
            save_pair(store, add_client(store).id)
            backup = store.backups.make(tmp_path / "backups")
            paths = [store.root, *store.root.rglob("*"), backup, *backup.rglob("*")]
            modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in paths}
            folders = {path.name for path in paths if path.is_dir()}
    finally:
        os.umask(before)
    assert "database.sqlite-wal" in modes
    assert {name: oct(mode) for name, mode in modes.items() if mode != (0o700 if name in folders else 0o600)} == {}


@pytest.mark.parametrize(
    ("platform", "variables", "expected"),
    [
        ("linux", {"TRACKER_HOME": "own"}, "own"),
        ("linux", {}, "home/.local/share/tracker"),
        ("linux", {"XDG_DATA_HOME": "relative/is/ignored"}, "home/.local/share/tracker"),
        ("darwin", {}, "home/Library/Application Support/tracker"),
        ("win32", {"LOCALAPPDATA": "local"}, "local/tracker"),
    ],
)
def test_data_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, platform: str, variables: dict[str, str], expected: str
) -> None:
    for name in ("TRACKER_HOME", "XDG_DATA_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value if "relative" in value else str(tmp_path / value))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setattr(sys, "platform", platform)
    assert data_folder() == tmp_path / expected
    assert stat.S_IMODE((tmp_path / expected).stat().st_mode) == 0o700


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreError, match="cannot be made"):
        Store(tmp_path / "file" / "studio")
