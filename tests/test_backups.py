"""Backups by themselves: one a day, checked, few, not for ever; and bringing one back."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from crash_studio import add_client, files_with, pictures_in, save_pair

from tracker.errors import Conflict, NotFound, StoreDamaged, StoreFull
from tracker.records import now
from tracker.store import EXPIRE_AFTER, MOST, Store, backup_shelf, check_backup
from tracker.workflow import backups
from tracker.workflow.backups import back_up, back_up_at_start, bring_back, days_since_backup


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    monkeypatch.setenv("TRACKER_HOME", str(tmp_path / "studio"))
    with Store(tmp_path / "studio") as opened:
        yield opened


def at(monkeypatch: pytest.MonkeyPatch, moment: datetime) -> None:
    """Set the clock of everything that has to do with backups."""
    import tracker.store.backup as making

    for module in (backups, backup_shelf, making):
        monkeypatch.setattr(module, "now", lambda: moment)


def test_one_a_day_and_none_of_an_empty_studio(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    assert back_up_at_start(store) is None
    save_pair(store, add_client(store).id)
    begin = now()
    first = back_up_at_start(store)
    assert first is not None
    assert back_up_at_start(store) is None
    at(monkeypatch, begin + timedelta(days=1))
    second = back_up_at_start(store)
    assert [backup.folder for backup in store.shelf.backups()] == [second, first]
    assert (store.shelf.backups()[0].clients, store.shelf.backups()[0].photos) == (1, 2)
    assert days_since_backup(store.shelf.backups()) == 0
    at(monkeypatch, begin + timedelta(days=5))
    assert days_since_backup(store.shelf.backups()) == 4
    assert days_since_backup([]) is None


# safety.md row 32: backups expire after a stated number of days
def test_old_ones_go_and_never_the_newest(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    add_client(store)
    begin = now()
    for day in range(MOST + 3):
        at(monkeypatch, begin + timedelta(days=day))
        assert back_up_at_start(store) is not None
    kept = store.shelf.backups()
    assert [(begin + timedelta(days=MOST + 2) - backup.made_at).days for backup in kept] == list(range(MOST))
    at(monkeypatch, kept[0].made_at + EXPIRE_AFTER + timedelta(days=1))
    store.shelf.expire()
    assert store.shelf.backups() == kept[:1]
    made = back_up(store)
    assert [backup.folder for backup in store.shelf.backups()] == [made]


# safety.md row 32: nobody who was erased stays in a backup, although no client is left to back up
def test_old_ones_go_from_a_studio_whose_clients_were_all_erased(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    client = add_client(store, "qxgonexq")
    begin = now()
    for day in (0, 1):
        at(monkeypatch, begin + timedelta(days=day))
        back_up_at_start(store)
    store.erase_client(client.id)
    for day in (46, 47):
        at(monkeypatch, begin + timedelta(days=day))
        back_up_at_start(store)
    assert len(store.shelf.backups()) == 2
    assert files_with(store.shelf.folder, [b"qxgonexq"]) == []


@pytest.mark.parametrize("how", ["one is made already", "none can be made"])
def test_old_ones_go_although_no_new_one_is_made(store: Store, monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    add_client(store)
    begin = now()
    for day in (0, 1, 46):
        at(monkeypatch, begin + timedelta(days=day))
        store.backup()

    def full(_: Store) -> Path:
        raise StoreFull("The disk is full.")

    if how == "none can be made":
        monkeypatch.setattr(Store, "backup", full)
        at(monkeypatch, begin + timedelta(days=47))
        with pytest.raises(StoreFull):
            back_up_at_start(store)
    else:
        assert back_up_at_start(store) is None
    assert len(store.shelf.backups()) == 1


def test_pictures_are_shared_between_backups_and_not_with_the_studio(store: Store) -> None:
    client = add_client(store)
    save_pair(store, client.id, b"one", b"two")
    first = back_up(store)
    save_pair(store, client.id, b"one", b"three")
    second = back_up(store)
    for name in pictures_in(first):
        place = Path("pictures") / name[:2] / f"{name}.jpg"
        assert (first / place).samefile(second / place)
        assert not (store.root / place).samefile(first / place)
    assert check_backup(second).pictures == 3


def test_a_picture_lost_in_the_studio_is_kept_from_the_earlier_backup(store: Store) -> None:
    save_pair(store, add_client(store).id, b"lost", b"other")
    back_up(store)
    (photo,) = (each for each in store.photos() if store.picture(each.file) == b"lost")
    store.picture_path(photo.file).write_bytes(b"altered")
    with pytest.raises(StoreDamaged, match="1 photo files"):
        back_up(store)
    newest = store.shelf.backups()[0].folder
    assert photo.file in pictures_in(newest)
    assert check_backup(newest).damaged == frozenset()


def test_a_check_finds_what_was_lost_or_altered(store: Store) -> None:
    save_pair(store, add_client(store).id, b"before", b"after")
    made = back_up(store)
    found = check_backup(made)
    assert (found.pictures, found.damaged) == (2, frozenset())
    assert found.rows >= 1 + 2 + 1 + 2
    name = min(pictures_in(made))
    (made / "pictures" / name[:2] / f"{name}.jpg").write_bytes(b"altered")
    assert check_backup(made).damaged == {name}
    (made / "pictures" / name[:2] / f"{name}.jpg").unlink()
    assert check_backup(made).damaged == {name}
    with pytest.raises(NotFound):
        check_backup(made / "pictures")


@pytest.mark.parametrize("how", ["a row", "a byte", "numbers", "cut off", "an empty note"])
def test_an_altered_database_fails_the_check(store: Store, how: str) -> None:
    save_pair(store, add_client(store).id)
    made = back_up(store)
    database, noted = made / "database.sqlite", made / "contents.json"
    if how == "a row":
        with closing(sqlite3.connect(database)) as connection:
            connection.execute("DELETE FROM photo")
            connection.commit()
    elif how == "a byte":
        content = bytearray(database.read_bytes())
        content[len(content) // 2] ^= 1
        database.write_bytes(bytes(content))
    elif how == "cut off":
        database.write_bytes(database.read_bytes()[:-4096])
    elif how == "an empty note":
        noted.write_bytes(b"")
    else:
        contents = json.loads(noted.read_text("utf-8"))
        contents["rows"]["visit"] += 1
        noted.write_text(json.dumps(contents), "utf-8")
    with pytest.raises(StoreDamaged):
        check_backup(made)


# safety.md row 25
def test_bringing_one_back(store: Store, tmp_path: Path) -> None:
    gone, kept = add_client(store, "qxgonexq"), add_client(store, "Kept")
    save_pair(store, gone.id, b"qxpicturexq")
    save_pair(store, kept.id, b"b", b"a")
    made = back_up(store)
    store.erase_client(gone.id)
    back = bring_back(made, tmp_path / "new")
    assert (back.clients, back.visits, back.photos, back.left_out, back.damaged) == (1, 1, 2, 1, 0)
    assert files_with(tmp_path / "new", [b"qxgonexq", b"qxpicturexq"]) == []
    with pytest.raises(Conflict, match="not empty"):
        bring_back(made, tmp_path / "new")


def test_a_backup_says_nothing_personal_in_its_list(store: Store) -> None:
    add_client(store, "qxnamexq", "qxnotexq")
    made = back_up(store)
    assert files_with(made, [b"qxnamexq"]) == [("database.sqlite", b"qxnamexq")]
    assert set(json.loads((made / "contents.json").read_text("utf-8"))) == {"made_at", "rows", "database_sha256"}


def test_another_folder_can_be_named(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    add_client(store)
    monkeypatch.setenv("TRACKER_BACKUPS", str(tmp_path / "other disk"))
    assert back_up(store).parent == tmp_path / "other disk"
