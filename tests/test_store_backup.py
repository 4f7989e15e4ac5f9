"""A backup holds everything, and a restore brings it back, save those who were erased."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from crash_studio import add_client, files_with, new_draft, new_photo, new_visit, note_syncs, pictures_in, save_pair

from tracker.errors import Conflict, NewerDatabase, NotFound, StoreDamaged, StoreError, StoreFull
from tracker.store import Store, backup, check_backup, restore
from tracker.store.pictures import Pictures
from tracker.store.restore import Restoration

restoring = import_module("tracker.store.restore")  # the function of that name hides the module


@pytest.fixture
def store(empty_studio: Path) -> Iterator[Store]:
    with Store(empty_studio) as opened:
        yield opened


def contents(store: Store) -> tuple[object, ...]:
    """Everything that can be read from a store."""
    clients = store.clients.summaries()
    return (
        clients,
        [store.consents.of_client(summary.client.id) for summary in clients],
        store.visits.recent(999),
        store.photos.find(),
        store.drafts.find(),
        {name: store.pictures.get(name) for name in sorted(pictures_in(store.root))},
        store.damaged_records(),
    )


# promise 25
def test_restore_drill(store: Store, tmp_path: Path) -> None:
    for number in range(3):
        client = add_client(store, f"Client {number}")
        save_pair(store, client.id, b"before %d" % number, b"after %d" % number)
        store.drafts.save(new_draft(client.id, None, (new_photo(store, client.id, b"draft %d" % number),)))
    store.pictures.put(b"nobody's")
    made = store.backups.make(tmp_path / "backups")
    assert len(pictures_in(made)) == 9
    assert restore(made, tmp_path / "new") == Restoration(frozenset(), 0)
    with Store(tmp_path / "new") as restored:
        wanted = contents(store)
        assert contents(restored)[:5] == wanted[:5]
        assert pictures_in(restored.root) == {photo.file for photo in store.photos.find()} | {
            photo.file for draft in store.drafts.find() for photo in draft.photos
        }
        with restored.database.reading() as connection:
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"


# promise 24
def test_backup_while_somebody_writes(store: Store, tmp_path: Path) -> None:
    client = add_client(store, "only in the log so far")
    assert files_with(store.root, [b"only in the log so far"]) == [("database.sqlite-wal", b"only in the log so far")]
    with store.database.writing() as connection:
        connection.exec_driver_sql("UPDATE client SET demo = 1")
        made = store.backups.make(tmp_path / "backups")
    with closing(sqlite3.connect(made / "database.sqlite")) as copy:
        assert copy.execute("SELECT id, demo FROM client").fetchall() == [(client.id, 0)]
        assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert sorted(path.name for path in made.iterdir()) == ["contents.json", "database.sqlite", "pictures"]


def test_a_photo_removed_while_the_backup_runs(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    client = add_client(store)
    photo = store.photos.save(new_photo(store, client.id, b"going"))
    real = backup.copy_database

    def copy_then_lose(source: Path, target: Path) -> None:
        real(source, target)
        store.photos.delete(photo.id)

    monkeypatch.setattr(backup, "copy_database", copy_then_lose)
    made = store.backups.make(tmp_path / "backups")
    assert pictures_in(made) == {photo.file}


def test_damaged_pictures_are_told_and_the_rest_is_backed_up(store: Store, tmp_path: Path) -> None:
    visit = save_pair(store, add_client(store).id)
    broken, whole = store.photos.find(visit_id=visit.id)
    store.pictures.path(broken.file).write_bytes(b"altered")
    with pytest.raises(StoreDamaged, match="1 photo files"):
        store.backups.make(tmp_path / "backups")
    (made,) = (tmp_path / "backups").iterdir()
    assert pictures_in(made) == {whole.file}
    assert restore(made, tmp_path / "new").damaged == {broken.file}


def test_a_picture_that_the_disk_cannot_read_does_not_stop_the_backup(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit = save_pair(store, add_client(store).id)
    broken, whole = store.photos.find(visit_id=visit.id)
    bad, read = store.pictures.path(broken.file), Path.read_bytes

    def failing(self: Path) -> bytes:
        if self == bad:
            raise OSError(5, "Input/output error")
        return read(self)

    monkeypatch.setattr(Path, "read_bytes", failing)
    with pytest.raises(StoreDamaged, match="1 photo files"):
        store.backups.make(tmp_path / "backups")
    (made,) = (tmp_path / "backups").iterdir()
    assert pictures_in(made) == {whole.file}


# promise 24: a backup that is listed is whole, whatever happens to the power
def test_a_backup_is_on_the_disk_before_it_has_its_name(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    save_pair(store, add_client(store).id)
    before: set[int] = set()
    for _ in range(2):  # the second one shares its pictures
        synced = note_syncs(monkeypatch)
        made = store.backups.make(tmp_path / "backups")
        written = [made.parent, made, *(path for path in made.rglob("*"))]
        assert [path for path in written if path.stat().st_ino not in synced | before] == []
        before |= synced


def test_a_picture_that_rotted_in_the_earlier_backup_is_not_shared_on(store: Store, tmp_path: Path) -> None:
    save_pair(store, add_client(store).id)
    first = store.backups.make(tmp_path / "backups")
    rotten = next((first / "pictures").rglob("*.jpg"))
    rotten.write_bytes(b"rotten")
    second = store.backups.make(tmp_path / "backups")
    assert check_backup(second).damaged == frozenset()
    assert check_backup(first).damaged == {rotten.stem}


def test_every_picture_is_read_once_here_and_once_in_the_copy(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, reads = add_client(store), []
    for number in range(4):
        save_pair(store, client.id, b"b%d" % number, b"a%d" % number)
    read = Path.read_bytes

    def noted(self: Path) -> bytes:
        if self.suffix == ".jpg":
            reads.append(self)
        return read(self)

    monkeypatch.setattr(Path, "read_bytes", noted)
    for _ in range(2):  # the second one shares its pictures
        reads.clear()
        made = store.backups.make(tmp_path / "backups")
        assert len(set(reads)) == len(reads) == 2 * 8
    reads.clear()
    restore(made, tmp_path / "new")
    assert len(reads) == 8


def test_a_backup_that_fails_leaves_nothing(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save_pair(store, add_client(store).id)

    def full(*_: object) -> str:
        raise StoreFull("The disk is full.")

    monkeypatch.setattr(Pictures, "take", full)
    with pytest.raises(StoreFull):
        store.backups.make(tmp_path / "backups")
    assert list((tmp_path / "backups").iterdir()) == []


def test_a_backup_does_not_lie_inside_the_studio(store: Store) -> None:
    with pytest.raises(StoreError, match="inside"):
        store.backups.make(store.root / "backups")


@pytest.mark.parametrize("known_from", ["the store", "a newer backup"])
def test_the_erased_stay_erased(store: Store, tmp_path: Path, known_from: str) -> None:
    gone, kept = add_client(store, "qxgonexq"), add_client(store, "Kept")
    save_pair(store, gone.id, b"qxpicturexq", b"shared")
    save_pair(store, kept.id, b"own", b"shared")
    old = store.backups.make(tmp_path / "backups")
    store.erasures.erase(gone.id)
    if known_from == "a newer backup":
        store.backups.make(tmp_path / "backups")
        restore(old, tmp_path / "new")
    else:
        restore(old, tmp_path / "new", erased=store.erasures.all())
    assert files_with(tmp_path / "new", [b"qxgonexq", b"qxpicturexq"]) == []
    with Store(tmp_path / "new") as restored:
        assert [summary.client for summary in restored.clients.summaries()] == [kept]
        assert len(pictures_in(restored.root)) == 2
        assert [line.client_id for line in restored.erasures.all()] == [gone.id]


@pytest.mark.parametrize("known_from", ["the store", "the backup", "a newer backup"])
def test_receipts_keep_their_counts(store: Store, tmp_path: Path, known_from: str) -> None:
    gone = add_client(store, "Gone")
    save_pair(store, gone.id)
    old = store.backups.make(tmp_path / "backups")
    store.erasures.erase(gone.id)
    if known_from == "the store":
        restore(old, tmp_path / "new", erased=store.erasures.all())
    else:
        newer = store.backups.make(tmp_path / "backups")
        restore(newer if known_from == "the backup" else old, tmp_path / "new")
    with Store(tmp_path / "new") as restored:
        assert restored.erasures.receipts() == store.erasures.receipts()
        assert restored.erasures.receipts()[0].counts is not None


def test_an_erasure_list_of_an_earlier_version_still_counts(store: Store, tmp_path: Path) -> None:
    gone = add_client(store, "Gone")
    old = store.backups.make(tmp_path / "backups")
    store.erasures.erase(gone.id)
    newer = store.backups.make(tmp_path / "backups")
    with closing(sqlite3.connect(newer / "database.sqlite")) as connection:
        connection.execute("ALTER TABLE erasure DROP COLUMN counts")
        connection.commit()
    assert restore(old, tmp_path / "new").left_out == 1
    with Store(tmp_path / "new") as restored:
        assert restored.is_empty()
        assert restored.erasures.receipts()[0].counts is None


def test_only_those_whom_the_backup_holds_are_left_out(store: Store, tmp_path: Path) -> None:
    before, kept, other = (add_client(store, name) for name in ("Before", "Kept", "Kept too"))
    store.erasures.erase(before.id)
    made = store.backups.make(tmp_path / "backups")
    assert restore(made, tmp_path / "one").left_out == 0
    store.clients.merge(kept, other.id, by="the owner")
    store.erasures.erase(kept.id)
    assert restore(made, tmp_path / "two", erased=store.erasures.all()).left_out == 1  # two records of one client


def test_restore_refuses(store: Store, tmp_path: Path) -> None:
    made = store.backups.make(tmp_path / "backups")
    with pytest.raises(NotFound):
        restore(tmp_path / "nowhere", tmp_path / "new")
    with pytest.raises(Conflict, match="not empty"):
        restore(made, store.root)
    with closing(sqlite3.connect(made / "database.sqlite")) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    with pytest.raises(NewerDatabase):
        restore(made, tmp_path / "new")
    (made / "database.sqlite").write_bytes(b"no database" * 999)
    with pytest.raises(StoreDamaged):
        restore(made, tmp_path / "new")
    assert {path.name for path in tmp_path.iterdir()} == {"studio", "backups"}


def test_a_backup_with_lost_rows_is_refused(store: Store, tmp_path: Path) -> None:
    store.visits.save(new_visit(add_client(store).id), [])
    made = store.backups.make(tmp_path / "backups")
    with closing(sqlite3.connect(made / "database.sqlite")) as connection:
        connection.execute("DELETE FROM client")
        connection.commit()
    with pytest.raises(StoreDamaged):
        restore(made, tmp_path / "new")


# promise 24
def test_a_database_is_never_copied_as_a_file() -> None:
    sources = Path(backup.__file__).parent.rglob("*.py")
    assert [path.name for path in sources if "shutil.copy" in path.read_text(encoding="utf-8")] == []


def half_restored(place: Path) -> list[str]:
    """What a restore left beside the folder that it was for."""
    return sorted(path.name for path in place.iterdir() if path.name.startswith("."))


# promise 25
def test_a_restore_goes_into_a_folder_that_is_there_and_empty(store: Store, tmp_path: Path) -> None:
    save_pair(store, add_client(store).id)
    made = store.backups.make(tmp_path / "backups")
    (tmp_path / "new").mkdir()
    restore(made, tmp_path / "new")
    with Store(tmp_path / "new") as restored:
        assert len(restored.photos.find()) == 2
    assert half_restored(tmp_path) == []


def test_a_restore_where_somebody_fills_the_folder_meanwhile(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = store.backups.make(tmp_path / "backups")
    real = restoring.copy_pictures

    def filled(*words: Any) -> set[str]:
        (tmp_path / "new").mkdir()
        (tmp_path / "new" / "mine.txt").write_text("mine")
        return real(*words)

    monkeypatch.setattr(restoring, "copy_pictures", filled)
    with pytest.raises(Conflict, match="not empty"):
        restore(made, tmp_path / "new")
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["mine.txt"]
    assert half_restored(tmp_path) == []


def test_nothing_stands_under_the_name_while_a_restore_runs(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    save_pair(store, add_client(store).id)
    made = store.backups.make(tmp_path / "backups")
    real = restoring.copy_pictures
    seen: list[bool] = []

    def watched(*words: Any) -> set[str]:
        seen.append((tmp_path / "new").exists())
        restoring.remove_half_restored(tmp_path)  # as another program does that starts beside it
        assert len(half_restored(tmp_path)) == 2
        return real(*words)

    monkeypatch.setattr(restoring, "copy_pictures", watched)
    restore(made, tmp_path / "new")
    assert seen == [False]
    with Store(tmp_path / "new") as restored:
        assert len(restored.photos.find()) == 2


@pytest.mark.parametrize("cleaned_by", ["the studio beside", "the next restore"])
def test_what_a_killed_restore_left_goes(store: Store, tmp_path: Path, cleaned_by: str) -> None:
    add_client(store, "qxnamexq")
    made = store.backups.make(tmp_path / "backups")
    code = (
        "import os, sys\nfrom importlib import import_module\nfrom pathlib import Path\n"
        "restoring = import_module('tracker.store.restore')\n"
        "restoring._put_in_place = lambda *words: os._exit(9)\n"
        "restoring.restore(Path(sys.argv[1]), Path(sys.argv[2]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code, made, tmp_path / "new"], check=False)
    assert done.returncode == 9
    left = half_restored(tmp_path)
    assert len(left) == 2
    assert files_with(tmp_path / left[0], [b"qxnamexq"])
    assert not (tmp_path / "new").exists()
    store.close()
    if cleaned_by == "the studio beside":
        Store(tmp_path / "studio").close()
    else:
        restore(made, tmp_path / "new")
    assert half_restored(tmp_path) == []
