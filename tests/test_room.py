"""The limit on the studio's folder, what it holds, and how much more fits."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from crash_studio import add_client, new_photo, save_pair

from tracker.errors import StoreError, StoreFull
from tracker.store import Store, disk_room, restore, room
from tracker.store.counted import counted
from tracker.store.settings_file import FileSettings, read_settings, write_limit

GB = 10**9


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def free(monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """Let the disk have so many bytes free."""
    monkeypatch.setattr(disk_room, "free_to_keep", lambda _layout: size)


def bytes_below(root: Path) -> int:
    return sum(path.stat().st_size for path in root.rglob("*") if path.is_file())


def counted_in(store: Store) -> tuple[int, int]:
    with store.database.reading() as connection:
        return counted(connection)


def test_the_usual_limit_is_what_is_used_and_half_of_what_is_free(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    free(monkeypatch, 100 * GB)
    found = store.disk.room()
    assert (found.own_limit, found.free, found.limit) == (False, 100 * GB, found.used + 50 * GB)
    assert found.used == bytes_below(store.root)
    assert (found.guessed, found.visits_left) == (True, 50 * GB // room.GUESSED_VISIT_BYTES)


def test_visits_that_fit_come_from_the_studios_own(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    free(monkeypatch, 100 * GB)
    client = add_client(store)
    for number in range(5):
        assert store.disk.room().guessed
        save_pair(store, client.id, b"%d" % number * 500, b"%d" % (number + 5) * 1500)
    found = store.disk.room()
    assert (found.guessed, found.visit_bytes) == (False, 2000)
    assert found.visits_left == 50 * GB // 2000
    store.disk.set_limit((found.used + 9000) / GB)
    found = store.disk.room()
    assert (found.own_limit, found.visits_left) == (True, 4)
    # a limit above what the disk holds, backups included, promises nothing
    free(monkeypatch, 12_000)
    store.disk.set_limit(500)
    assert store.disk.room().visits_left == 3


def test_the_limit_holds_from_the_next_photo_on(store: Store) -> None:
    (store.root / "settings.toml").write_text("limit_gb = 0.000001\n", "utf-8")
    with pytest.raises(StoreFull, match="limit 1e-06 GB"):
        store.pictures.put(b"x" * 1000)
    (store.root / "settings.toml").unlink()
    store.pictures.put(b"x" * 1000)


@pytest.mark.parametrize(
    ("text", "limit", "fault"),
    [
        ("limit_gb = 50", 50 * GB, ""),
        ("limit_gb = 0.5 # half\nother = 1", GB // 2, ""),
        ("", None, ""),
        ("# nothing set", None, ""),
        ("limit_gb = ", None, "cannot be read"),
        ("limit_gb = 'a lot'", None, "limit_gb is 'a lot'"),
        ("limit_gb = 0", None, "limit_gb is 0"),
        ("limit_gb = -3.5", None, "limit_gb is -3.5"),
        ("limit_gb = true", None, "limit_gb is True"),
        ("limit_gb = inf", None, "limit_gb is inf"),
        ("limit_gb = nan", None, "limit_gb is nan"),
        ("limit_gb = [1]", None, "limit_gb is [1]"),
        ("limit_gb = 1\nlimit_gb = 2", None, "cannot be read"),
        ("\udcff\udcfe", None, "cannot be read"),
    ],
)
def test_the_file_of_settings(store: Store, text: str, limit: int | None, fault: str) -> None:
    path = store.root / "settings.toml"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    found = read_settings(path)
    assert found.limit_bytes == limit
    assert fault in found.fault
    assert bool(fault) == bool(found.fault)
    assert store.disk.room().fault == found.fault
    store.pictures.put(b"a damaged file stops no work")


def test_a_folder_in_the_place_of_the_file_is_told(store: Store) -> None:
    (store.root / "settings.toml").mkdir()
    assert "cannot be read" in store.disk.room().fault


def test_writing_the_limit_keeps_what_a_person_wrote(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    write_limit(path, None)
    assert read_settings(path) == FileSettings()
    path.write_text("# mine\nlimit_gb = 3 # for now\ncolour = 'red'\n", "utf-8")
    write_limit(path, 7.5)
    assert path.read_text("utf-8") == "# mine\nlimit_gb = 7.5 # for now\ncolour = 'red'\n"
    write_limit(path, None)
    assert tomllib.loads(path.read_text("utf-8")) == {"colour": "red"}
    path.write_text("limit_gb = [", "utf-8")
    write_limit(path, 2.0)
    assert read_settings(path) == FileSettings(2 * GB)
    assert [each.name for each in tmp_path.iterdir()] == ["settings.toml"]


def test_the_settings_go_into_backups_and_come_back(store: Store, tmp_path: Path) -> None:
    store.disk.set_limit(123.5)
    made = store.backups.make(tmp_path / "backups")
    assert (made / "settings.toml").read_bytes() == (store.root / "settings.toml").read_bytes()
    restore(made, tmp_path / "new")
    with Store(tmp_path / "new") as restored:
        assert restored.disk.room().limit == 123_500_000_000


def test_every_way_that_pictures_come_and_go_is_counted(store: Store, tmp_path: Path) -> None:
    client = add_client(store)
    visit = save_pair(store, client.id, b"a" * 100, b"b" * 200)
    assert counted_in(store) == (2, 300)
    store.pictures.put(b"a" * 100)
    assert counted_in(store) == (2, 300)
    deletion = store.visits.delete(visit.id)
    assert counted_in(store) == (0, 0)
    store.deletions.put_back(deletion.token)
    assert counted_in(store) == (2, 300)
    store.pictures.let_go([store.pictures.put(b"c" * 50)])
    assert counted_in(store) == (2, 300)
    left = store.pictures.put(b"left over")
    os.utime(store.pictures.path(left), (0, 0))
    store.erasures.erase(client.id)
    assert counted_in(store) == (0, 0)
    assert store.disk.usage().bytes == bytes_below(store.root)


def test_a_photo_that_is_refused_is_not_counted(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", broken)
        with pytest.raises(StoreError):
            store.pictures.put(b"content")
    assert counted_in(store) == (0, 0)


@pytest.mark.parametrize("how", ["an earlier version", "a picture lost", "another size", "counted and gone"])
def test_the_count_is_put_right_at_the_next_start(tmp_path: Path, how: str) -> None:
    with Store(tmp_path) as store:
        save_pair(store, add_client(store).id, b"a" * 100, b"b" * 200)
        photos = store.photos.find()
        with store.database.writing() as connection:
            if how == "an earlier version":
                connection.exec_driver_sql("DELETE FROM picture")
            elif how == "another size":
                connection.exec_driver_sql("UPDATE picture SET bytes = 7")
            elif how == "counted and gone":
                connection.exec_driver_sql("INSERT INTO picture VALUES ('ab', 999)")
            else:
                store.pictures.path(
                    next(each.file for each in photos if store.pictures.get(each.file)[:1] == b"a")
                ).unlink()
    with Store(tmp_path) as store:
        assert counted_in(store) == ((1, 200) if how == "a picture lost" else (2, 300))


def test_what_was_set_aside_takes_room_too(tmp_path: Path) -> None:
    with Store(tmp_path):
        pass  # pictures without a database would be taken for one that is gone
    aside = tmp_path / "set-aside" / "2026-03-14"
    aside.mkdir(parents=True)
    (aside / "x.jpg").write_bytes(b"x" * 5000)
    with Store(tmp_path) as store:
        assert store.disk.room().used == bytes_below(tmp_path)
        (aside / "y.jpg").write_bytes(b"x" * 5000)
        assert store.disk.usage().bytes == bytes_below(tmp_path)


def test_no_photo_walks_the_folder(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    client = add_client(store)
    seen: list[Path] = []
    real = os.scandir

    def noted(path: str | Path = ".") -> object:
        seen.append(Path(path))
        return real(path)

    monkeypatch.setattr(os, "scandir", noted)
    store.photos.save(new_photo(store, client.id, b"content"))
    assert [path for path in seen if path != store.root] == []


def test_the_reserve_is_kept_given_back_and_made_again(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    layout = store.database.layout

    def disk(size: int) -> None:
        monkeypatch.setattr(room, "free_bytes", lambda _folder: size)
        monkeypatch.setattr(room.shutil, "disk_usage", lambda _folder: type("Usage", (), {"free": size}))

    disk(room.RESERVE_BYTES)  # it would fill the disk itself
    store.disk.keep_reserve()
    assert not layout.reserve.exists()
    disk(100 * GB)
    store.disk.keep_reserve()
    assert layout.reserve.stat().st_size == room.RESERVE_BYTES
    assert store.disk.usage().bytes == bytes_below(store.root) - room.RESERVE_BYTES
    room.give_back_to_open(layout)
    room.give_back(layout)
    assert layout.reserve.stat().st_size == room.RESERVE_BYTES
    disk(0)
    room.give_back_to_open(layout)
    left = layout.reserve.stat().st_size
    assert 0 < left < room.RESERVE_BYTES
    disk(room.RESERVE_BYTES - left)  # what was given back is not for photos
    with pytest.raises(StoreFull):
        store.pictures.put(b"a photo")
    store.database.make_way()
    assert not layout.reserve.exists()
    disk(100 * GB)
    store.disk.keep_reserve()
    assert layout.reserve.stat().st_size == room.RESERVE_BYTES
