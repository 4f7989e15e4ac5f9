"""What no record names is set aside with its day; only a person's word or an erasure removes it."""

from __future__ import annotations

import os
import stat
import sys
from datetime import date, timedelta
from pathlib import Path

import pytest
from crash_studio import add_client, files_with, new_photo, note_syncs, pictures_in, save_pair

from tracker.errors import NotFound, StoreDamaged, StoreError
from tracker.record.records import now
from tracker.store import Store, restore, set_aside
from tracker.store.database import Database
from tracker.store.erasure import Erasures
from tracker.store.exports import Exports


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return tmp_path / "studio"


def lying(root: Path) -> set[str]:
    return {path.stem for path in (root / "set-aside").rglob("*.jpg")}


def leave(root: Path, content: bytes = b"nobody's") -> str:
    """A picture that no record names lies set aside; returns its name."""
    with Store(root) as store:
        name = store.pictures.put(content)
    Store(root).close()
    assert name in lying(root)
    return name


@pytest.fixture
def days(monkeypatch: pytest.MonkeyPatch) -> dict[str, int]:
    """How many days have gone by, for the store."""
    passed = {"days": 0}
    monkeypatch.setattr(set_aside, "_today", lambda: now().astimezone().date() + timedelta(days=passed["days"]))
    return passed


def test_a_picture_that_no_record_names_is_kept_with_its_day(root: Path) -> None:
    with Store(root) as store:
        visit = save_pair(store, add_client(store).id)
        kept = {photo.file for photo in store.photos.find(visit_id=visit.id)}
        name = store.pictures.put(b"nobody's")
        assert store.set_aside.pictures() == []
    with Store(root) as store:
        (left,) = store.set_aside.pictures()
        assert (left.name, left.since, left.bytes) == (name, date.today(), len(b"nobody's"))
        assert store.set_aside.picture(name) == b"nobody's"
        assert pictures_in(root) == kept
    Store(root).close()
    assert lying(root) == {name}


@pytest.mark.parametrize("name", ["ab" * 32, "..", "*", "../../database", ""])
def test_only_what_lies_there_is_shown(root: Path, name: str) -> None:
    leave(root)
    with Store(root) as store, pytest.raises(NotFound):
        store.set_aside.picture(name)


def test_one_that_changed_is_not_shown(root: Path) -> None:
    name = leave(root)
    next((root / "set-aside").rglob("*.jpg")).write_bytes(b"altered")
    with Store(root) as store, pytest.raises(StoreDamaged):
        store.set_aside.picture(name)


def test_what_a_record_names_comes_back(root: Path) -> None:
    with Store(root) as store:
        photo = store.photos.save(new_photo(store, add_client(store).id, b"named"))
        place = store.pictures.path(photo.file)
    aside = root / "set-aside" / "2026-01-02" / place.name
    aside.parent.mkdir(parents=True)
    place.rename(aside)
    with Store(root) as store:
        assert store.pictures.get(photo.file) == b"named"
        assert store.set_aside.pictures() == []


def test_an_altered_one_does_not_come_back(root: Path) -> None:
    with Store(root) as store:
        photo = store.photos.save(new_photo(store, add_client(store).id, b"named"))
        place = store.pictures.path(photo.file)
    aside = root / "set-aside" / "2026-01-02" / place.name
    aside.parent.mkdir(parents=True)
    place.rename(aside)
    aside.write_bytes(b"altered")
    with Store(root) as store, pytest.raises(NotFound):
        store.pictures.get(photo.file)
    assert aside.read_bytes() == b"altered"


# a picture set aside after the power failed must lie there, or where it was
def test_the_move_is_safely_on_the_disk(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store(root) as store:
        old = store.pictures.path(store.pictures.put(b"nobody's")).parent
    synced = note_syncs(monkeypatch)
    Store(root).close()
    new = next((root / "set-aside").rglob("*.jpg")).parent
    assert {path.stat().st_ino for path in (old, new, new.parent, root)} <= synced


def test_what_the_disk_does_not_move_stays_where_it_is(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store(root) as store:
        name = store.pictures.put(b"nobody's")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "in use")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", refuse)
        Store(root).close()
    assert pictures_in(root) == {name}


def test_a_person_is_asked_after_thirty_days_and_can_keep_it_longer(root: Path, days: dict[str, int]) -> None:
    name = leave(root)
    with Store(root) as store:
        # 30 days, as the README says
        for passed, asked in ((0, False), (29, False), (30, True), (400, True)):
            days["days"] = passed
            assert store.set_aside.asks() == asked
        days["days"] = 31
        store.set_aside.keep()
        for passed, asked in ((31, False), (60, False), (61, True)):
            days["days"] = passed
            assert store.set_aside.asks() == asked
    days["days"] = 4000
    Store(root).close()
    assert lying(root) == {name}


def test_it_is_removed_when_a_person_says_so(root: Path) -> None:
    seen, since = leave(root, b"seen"), leave(root, b"since then")
    with Store(root) as store:
        assert store.set_aside.remove([seen, "ab" * 32]) == 1
    assert lying(root) == {since}


def test_what_a_record_names_is_not_removed_but_brought_back(root: Path) -> None:
    name = leave(root, b"named after all")
    with Store(root) as store:
        photo = new_photo(store, add_client(store).id, b"named after all")
        assert photo.file == name
        store.photos.save(photo)
        store.pictures.path(name).unlink()
        assert store.set_aside.remove([name]) == 0
        assert store.pictures.get(name) == b"named after all"


def test_a_deletion_removes_what_lies_set_aside_of_it_too(root: Path) -> None:
    name = leave(root, b"twice")
    with Store(root) as store:
        photo = store.photos.save(new_photo(store, add_client(store).id, b"twice"))
        store.photos.delete(photo.id)
    assert files_with(root, [b"twice"]) == []
    assert name not in lying(root)


def test_an_erasure_empties_it_and_counts_what_it_held(root: Path) -> None:
    leave(root, b"one")
    leave(root, b"two")
    with Store(root) as store:
        client = add_client(store)
        save_pair(store, client.id)
        receipt = store.erasures.erase(client.id)
        assert (receipt.counts.files, receipt.counts.set_aside) == (2, 2)
        (line,) = store.erasures.receipts()
        assert line.counts == receipt.counts
    assert lying(root) == set()


@pytest.mark.parametrize(
    ("part", "step"),
    [
        (Database, "discard_files"),
        (Erasures, "_discard_left_overs"),
        (Exports, "remove_all"),
        (Erasures, "_leave_no_byte"),
    ],
)
def test_an_erasure_that_was_cut_off_empties_it_at_the_next_start(
    root: Path, monkeypatch: pytest.MonkeyPatch, part: type, step: str
) -> None:
    leave(root, b"may show the client")
    with Store(root) as store:
        client, other = add_client(store), add_client(store, "Bea")
        save_pair(store, client.id)
        missing = store.photos.save(new_photo(store, other.id, b"another client's"))
        aside = root / "set-aside" / "2026-01-02" / f"{missing.file}.jpg"
        aside.parent.mkdir()
        store.pictures.path(missing.file).rename(aside)

        def cut_off(*_: object) -> None:
            raise KeyboardInterrupt

        with monkeypatch.context() as patched:
            patched.setattr(part, step, cut_off)
            with pytest.raises(KeyboardInterrupt):
                store.erasures.erase(client.id)
        if step in ("discard_files", "_discard_left_overs"):
            assert len(lying(root)) == 2
    with Store(root) as store:
        assert lying(root) == set()
        if step in ("discard_files", "_discard_left_overs"):
            assert store.pictures.get(missing.file) == b"another client's"  # came back before the rest went
        assert files_with(root, [b"may show the client"]) == []
        assert not store.erasures.has_unfinished()


def test_one_that_the_disk_keeps_is_told(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    name = leave(root)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "in use")

    with Store(root) as store:
        client = add_client(store)
        with monkeypatch.context() as patched:
            patched.setattr(Path, "unlink", refuse)
            with pytest.raises(StoreError, match="in use"):
                store.erasures.erase(client.id)
            with pytest.raises(StoreError, match="in use"):
                store.set_aside.remove([name])
        assert lying(root) == {name}
    Store(root).close()
    assert lying(root) == set()


def test_it_is_in_no_backup_and_no_restore(root: Path, tmp_path: Path) -> None:
    leave(root, b"nobody's")
    with Store(root) as store:
        add_client(store)
        made = store.backups.make(tmp_path / "backups")
    restore(made, tmp_path / "new")
    for folder in (made, tmp_path / "new"):
        assert files_with(folder, [b"nobody's"]) == []


@pytest.mark.skipif(sys.platform == "win32", reason="rights are another matter there")
def test_it_is_private(root: Path) -> None:
    before = os.umask(0)
    try:
        leave(root)
    finally:
        os.umask(before)
    for path in [root / "set-aside", *(root / "set-aside").rglob("*")]:
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600)
