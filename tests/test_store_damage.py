"""A damaged page of the database is found at the start and at a backup; reading goes on, writing does not."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

import pytest
from crash_studio import add_client, new_visit, pictures_in, save_pair

from tracker.errors import DatabaseDamaged, WrongDatabase
from tracker.store import Store, backup, soundness
from tracker.store.database import Database
from tracker.store.soundness import SoundnessCheck

PAGE = 4096


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed studio whose tables and indexes have many pages, with a picture that no record names."""
    root = tmp_path_factory.mktemp("sound") / "studio"
    with Store(root) as store:
        for number in range(12):
            client = add_client(store, f"Client {number}", "note " * 300)
            save_pair(store, client.id, b"before %d" % number, b"after %d" % number)
            for _ in range(4):
                store.visits.save(new_visit(client.id, note="words " * 100), [])
        store.pictures.put(b"nobody's")
    return root


@pytest.fixture
def root(sound: Path, tmp_path: Path) -> Path:
    shutil.copytree(sound, tmp_path / "studio")
    return tmp_path / "studio"


def pages_of(root: Path, table: str) -> list[int]:
    """Numbers of the pages of a table or index, from 1; the first is its root."""
    with closing(sqlite3.connect(root / "database.sqlite")) as connection:
        (first,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()
        content = (root / "database.sqlite").read_bytes()
    start = (first - 1) * PAGE
    if content[start] in (0x0D, 0x0A):  # a leaf (sqlite.org, "Database File Format", b-tree pages)
        return [first]
    cells = int.from_bytes(content[start + 3 : start + 5], "big")
    places = [start + 12 + 2 * number for number in range(cells)]
    offsets = [int.from_bytes(content[place : place + 2], "big") for place in places]
    children = [int.from_bytes(content[start + offset : start + offset + 4], "big") for offset in offsets]
    return [first, *children]


def wipe(root: Path, page: int) -> None:
    with (root / "database.sqlite").open("rb+") as file:
        file.seek((page - 1) * PAGE)
        file.write(b"\xa5" * PAGE)


TABLES = ["photo", "visit", "client", "consent", "ix_photo_file", "ix_photo_client_id_taken_at", "draft_file", "edit"]


@pytest.mark.parametrize("table", TABLES)
def test_a_damaged_page_is_found_at_the_start(root: Path, table: str) -> None:
    before = pictures_in(root)
    wipe(root, pages_of(root, table)[-1])
    with Store(root) as store:
        assert store.database.damaged
        # nobody knows what the page named, so nothing is taken for a left-over
        assert pictures_in(root) == before
        assert store.set_aside.pictures() == []


def test_a_sound_database_is_said_to_be_sound(root: Path) -> None:
    with Store(root) as store:
        assert not store.database.damaged
        assert len(store.set_aside.pictures()) == 1


def test_what_can_be_read_is_read_and_nothing_is_saved(root: Path, tmp_path: Path) -> None:
    wipe(root, pages_of(root, "ix_photo_file")[-1])
    with Store(root) as store:
        clients = store.clients.summaries()
        assert len(clients) == 12
        photo = store.photos.find(clients[0].client.id)[0]
        assert store.pictures.get(photo.file)
        with store.exports.new() as (archive, _):
            archive.add("one.txt", b"what can be read goes out")
        content = (root / "database.sqlite").read_bytes()
        attempts: list[Callable[[], object]] = [
            lambda: add_client(store, "New"),
            lambda: store.photos.delete(photo.id),
            lambda: store.erasures.erase(clients[0].client.id),
            lambda: store.settings.put("a", 1),
            lambda: store.set_aside.remove(["ab" * 32]),
        ]
        for attempt in attempts:
            with pytest.raises(DatabaseDamaged, match="Restore the last backup") as refused:
                attempt()
            assert refused.value.code == "database_damaged"
        store.pictures.let_go([photo.file, "ab" * 32])
        assert store.pictures.get(photo.file)
        assert len(store.clients.summaries()) == 12
    assert (root / "database.sqlite").read_bytes() == content


def test_damage_that_is_met_while_reading_is_remembered(root: Path) -> None:
    with Store(root) as store:
        assert not store.database.damaged
        wipe(root, pages_of(root, "visit")[-1])
        store.database.engine.dispose()  # nothing of it is left in memory
        with pytest.raises(DatabaseDamaged):
            store.visits.recent(999)
        assert store.database.damaged


def test_a_backup_finds_what_happened_since_the_start(root: Path, tmp_path: Path) -> None:
    with Store(root) as store:
        wipe(root, pages_of(root, "ix_photo_client_id_taken_at")[-1])
        store.database.engine.dispose()
        with pytest.raises(DatabaseDamaged):
            store.backups.make(tmp_path / "backups")
        assert store.database.damaged
    assert list((tmp_path / "backups").iterdir()) == []


# the other disk may be the one that fails
def test_a_copy_that_is_not_sound_does_not_speak_against_the_studio(
    root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def badly(*_: object) -> None:
        raise DatabaseDamaged("The database does not pass its own check.")

    with Store(root) as store:
        with monkeypatch.context() as patched:
            patched.setattr(backup, "copy_database", badly)
            with pytest.raises(DatabaseDamaged):
                store.backups.make(tmp_path / "backups")
        assert not store.database.damaged
        add_client(store, "Another")


def test_an_erasure_is_not_finished_in_a_damaged_database(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def cut_off(*_: object) -> None:
        raise KeyboardInterrupt

    with Store(root) as store, monkeypatch.context() as patched:
        patched.setattr(Database, "discard_files", cut_off)
        with suppress(KeyboardInterrupt):
            store.erasures.erase(store.clients.summaries()[0].client.id)
    before = pictures_in(root), {path.name for path in root.rglob("*.jpg")}
    wipe(root, pages_of(root, "ix_photo_file")[-1])
    with Store(root) as store:
        assert store.database.damaged
        assert store.erasures.has_unfinished()
    assert (pictures_in(root), {path.name for path in root.rglob("*.jpg")}) == before


@pytest.mark.parametrize("page", range(1, 40))
def test_whichever_page_is_damaged_it_is_found_or_refused(root: Path, page: int) -> None:
    size = (root / "database.sqlite").stat().st_size // PAGE
    assert size > 40
    before = {path.stem for path in root.rglob("*.jpg")}
    wipe(root, page)
    found = ""
    try:
        with Store(root) as store:
            assert store.database.damaged
    except WrongDatabase as refused:
        found = refused.found
    assert found in ("", "damaged", "no database")
    assert {path.stem for path in root.rglob("*.jpg")} == before


@pytest.fixture
def hurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """Opening has no time at all for the check, as for a very large database."""
    real = SoundnessCheck.verdict
    monkeypatch.setattr(
        soundness.SoundnessCheck,
        "verdict",
        lambda self, seconds=None: None if seconds is not None else real(self),
    )


@pytest.mark.usefixtures("hurried")
def test_what_opening_has_no_time_for_is_done_beside_the_pages(root: Path) -> None:
    with Store(root) as store:
        named = {photo.file for photo in store.photos.find()}
        (orphan,) = pictures_in(root) - named
        in_hand = store.pictures.put(b"being taken in")
        os.utime(store.pictures.path(orphan), (0, 0))
        assert store.set_aside.pictures() == []
        store.finish_check()
        assert [left.name for left in store.set_aside.pictures()] == [orphan]
        assert pictures_in(root) == named | {in_hand}
        store.finish_check()


@pytest.mark.usefixtures("hurried")
def test_damage_is_found_beside_the_pages_too(root: Path) -> None:
    wipe(root, pages_of(root, "ix_photo_file")[-1])
    before = pictures_in(root)
    with Store(root) as store:
        assert not store.database.damaged
        store.finish_check()
        assert store.database.damaged
    assert pictures_in(root) == before


def test_a_check_that_is_stopped_says_nothing(root: Path) -> None:
    check = SoundnessCheck(root / "database.sqlite")
    check.stop()
    assert check.verdict() in (None, True)
    assert SoundnessCheck(root / "database.sqlite", thorough=True).verdict() is True
