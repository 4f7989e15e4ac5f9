"""Backups by themselves: one a day, checked, few, not for ever; and bringing one back."""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from crash_studio import add_client, files_with, new_visit, pictures_in, save_pair
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tracker.errors import Conflict, NotFound, StoreDamaged, StoreFull
from tracker.record.records import now
from tracker.store import Store, check_backup
from tracker.store.backup import Backups
from tracker.store.backup_shelf import Shelf
from tracker.workflow import backups
from tracker.workflow.backups import back_up, back_up_at_start, bring_back, days_since_backup

# README, "Clients' data": the last ten backups are kept, each for 30 days
MOST, EXPIRE_AFTER = 10, timedelta(days=30)


@pytest.fixture
def store(empty_studio: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    monkeypatch.setenv("TRACKER_HOME", str(empty_studio))
    with Store(empty_studio) as opened:
        yield opened


def at(monkeypatch: pytest.MonkeyPatch, moment: datetime) -> None:
    """Set the clock of everything that has to do with backups."""
    import tracker.store.backup as making

    for module in (backups, making):
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
    assert [backup.folder for backup in store.backups.shelf.backups()] == [second, first]
    assert (store.backups.shelf.backups()[0].clients, store.backups.shelf.backups()[0].photos) == (1, 2)
    assert days_since_backup(store.backups.shelf.backups()) == 0
    at(monkeypatch, begin + timedelta(days=5))
    assert days_since_backup(store.backups.shelf.backups()) == 4
    assert days_since_backup([]) is None


# promise 32: backups expire after a stated number of days
def test_old_ones_go_and_never_the_newest(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    add_client(store)
    begin = now()
    for day in range(MOST + 3):
        at(monkeypatch, begin + timedelta(days=day))
        assert back_up_at_start(store) is not None
    kept = store.backups.shelf.backups()
    assert [(begin + timedelta(days=MOST + 2) - backup.made_at).days for backup in kept] == list(range(MOST))
    for week in range(1, 7):
        at(monkeypatch, kept[0].made_at + timedelta(weeks=week))
        made = back_up(store)
    assert store.backups.shelf.backups()[0].folder == made
    oldest = store.backups.shelf.backups()[-1].made_at
    assert kept[0].made_at + timedelta(weeks=6) - oldest <= EXPIRE_AFTER + timedelta(weeks=1)


# promise 32: nobody who was erased stays in a backup, although no client is left to back up
def test_old_ones_go_from_a_studio_whose_clients_were_all_erased(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    client = add_client(store, "qxgonexq")
    begin = now()
    for day in (0, 1):
        at(monkeypatch, begin + timedelta(days=day))
        back_up_at_start(store)
    store.erasures.erase(client.id)
    for week in range(1, 7):
        assert files_with(store.backups.shelf.folder, [b"qxgonexq"]) != []
        at(monkeypatch, begin + timedelta(days=1, weeks=week))
        back_up_at_start(store)
    assert files_with(store.backups.shelf.folder, [b"qxgonexq"]) == []


@pytest.mark.parametrize("how", ["one is made already", "none can be made"])
def test_old_ones_go_although_no_new_one_is_made(store: Store, monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    add_client(store)
    begin = now()
    for week in range(8):
        at(monkeypatch, begin + timedelta(weeks=week))
        store.backups.make()

    def full(_: Store) -> Path:
        raise StoreFull("The disk is full.")

    if how == "none can be made":
        monkeypatch.setattr(Backups, "make", full)
        at(monkeypatch, begin + timedelta(weeks=8))
        with pytest.raises(StoreFull):
            back_up_at_start(store)
    else:
        assert back_up_at_start(store) is None
    assert len(store.backups.shelf.backups()) == 6


def test_the_order_is_the_backups_own_and_not_the_clocks(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    add_client(store)
    begin, made = now(), []
    for day in (0, 400, 1, -400, 2):
        at(monkeypatch, begin + timedelta(days=day))
        made.append(back_up(store))
    assert [backup.folder for backup in store.backups.shelf.backups()] == made[::-1]
    assert [backup.number for backup in store.backups.shelf.backups()] == [5, 4, 3, 2, 1]
    assert [path.name[:21] for path in made] == [f"tracker-backup-{number:06d}" for number in range(1, 6)]


def test_backups_of_earlier_versions_come_before_all_numbered_ones(store: Store) -> None:
    add_client(store)
    first = back_up(store)
    for stamp in ("20990101-000000-000000", "20260101-000000-000000"):
        old = first.with_name(f"tracker-backup-{stamp}")
        old.mkdir()
        (old / "database.sqlite").write_bytes((first / "database.sqlite").read_bytes())
    second = back_up(store)
    listed = store.backups.shelf.backups()
    assert [backup.folder.name[15:23] for backup in listed] == ["000002-2", "000001-2", "20990101", "20260101"]
    assert listed[0].folder == second
    assert [backup.number for backup in listed] == [2, 1, 0, 0]


@pytest.mark.parametrize("note", ["gone", "no number", "cut off"])
def test_the_name_tells_the_number_where_the_note_does_not(store: Store, note: str) -> None:
    add_client(store)
    made = [back_up(store) for _ in range(2)]
    if note == "gone":
        (made[1] / "contents.json").unlink()
    else:
        (made[1] / "contents.json").write_text('{"rows": []}' if note == "no number" else '{"num', "utf-8")
    assert [backup.number for backup in store.backups.shelf.backups()] == [2, 1]
    assert back_up(store).name.startswith("tracker-backup-000003-")


@pytest.mark.parametrize("ahead", [400, 12])
def test_a_clock_that_was_ahead_stops_and_removes_nothing(
    store: Store, monkeypatch: pytest.MonkeyPatch, ahead: int
) -> None:
    add_client(store)
    begin = now()
    for day in range(3):
        at(monkeypatch, begin + timedelta(days=day))
        assert back_up_at_start(store) is not None
    for day in range(2):
        at(monkeypatch, begin + timedelta(days=3 + ahead + day))
        assert back_up_at_start(store) is not None
    assert days_since_backup(store.backups.shelf.backups()) == 0
    at(monkeypatch, begin + timedelta(days=5))
    assert (days_since_backup(store.backups.shelf.backups()) or 0) < 0
    made = back_up_at_start(store)
    assert made is not None
    assert made.is_dir()
    assert back_up_at_start(store) is None
    assert len(store.backups.shelf.backups()) == 6


def test_a_clock_that_was_set_back_by_hours_stops_nothing(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    add_client(store)
    noon = datetime(2026, 3, 14, 12).astimezone()
    for hours, due in ((0, True), (1, False), (-3, True), (-2, False)):
        at(monkeypatch, noon + timedelta(hours=hours))
        assert (back_up_at_start(store) is not None) == due


def test_after_many_days_ahead_the_backup_just_made_stays(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    add_client(store)
    begin = now()
    for day in range(12):
        at(monkeypatch, begin + timedelta(days=400 + day))
        back_up(store)
    at(monkeypatch, begin)
    made = back_up(store)
    assert made.is_dir()
    assert store.backups.shelf.backups()[0].folder == made


def test_a_clock_that_stands_on_one_day_does_not_end_the_backups(store: Store) -> None:
    client = add_client(store)
    assert back_up_at_start(store) is not None
    for _ in range(9):
        store.visits.save(new_visit(client.id), [])
    assert back_up_at_start(store) is None
    store.visits.save(new_visit(client.id), [])
    assert back_up_at_start(store) is not None
    assert back_up_at_start(store) is None


def entry(shelf: Shelf, made_at: datetime) -> Path:
    """What the shelf takes for a backup."""
    number, folder = shelf.next_name(made_at)
    folder.mkdir(parents=True)
    (folder / "database.sqlite").touch()
    (folder / "contents.json").write_text(json.dumps({"number": number, "made_at": made_at.isoformat()}), "utf-8")
    return folder


BEGIN = datetime(2026, 3, 1, 12, tzinfo=UTC)
GAPS = st.lists(st.floats(0.05, 60), min_size=1, max_size=25)  # days from one backup to the next
WRONG = st.floats(-5000, 5000)
SIMULATED = settings(max_examples=60)


def days(number: float) -> timedelta:
    return timedelta(days=number)


@SIMULATED
@given(st.lists(st.datetimes(datetime(1970, 1, 2), datetime(2200, 1, 1)), min_size=1, max_size=25))
def test_no_clock_removes_the_newest_or_leaves_fewer_than_seven(times: list[datetime]) -> None:
    with TemporaryDirectory() as folder:
        shelf = Shelf(Path(folder))
        made = []
        for moment in times:
            made.append(entry(shelf, moment.replace(tzinfo=UTC)))
            shelf.expire()
            kept = [backup.folder for backup in shelf.backups()]
            assert kept == made[::-1][: len(kept)]
            assert min(7, len(made)) <= len(kept) <= MOST


@SIMULATED
@given(GAPS, WRONG, st.integers(0, 25), st.integers(1, 25))
@example([4.0] * 8, 400.0, 7, 1)  # the first is 28 days old, and 31 with a week for the jump
@example([4.0] * 8, -400.0, 1, 6)
def test_a_clock_that_is_wrong_once_removes_none_too_early(gaps: list[float], off: float, at: int, long: int) -> None:
    with TemporaryDirectory() as folder:
        shelf = Shelf(Path(folder))
        moment, truth = BEGIN, {}
        for number, gap in enumerate(gaps):
            moment += days(gap)
            truth[entry(shelf, moment + days(off) if at <= number < at + long else moment)] = moment
            before = shelf.backups()
            shelf.expire()
            kept = [backup.folder for backup in shelf.backups()]
            for place, backup in enumerate(before):
                gone = backup.folder not in kept
                assert not gone or place >= MOST or moment - truth[backup.folder] > EXPIRE_AFTER


@SIMULATED
@given(st.lists(st.floats(0.05, 7), min_size=1, max_size=40))
def test_a_right_clock_lets_old_ones_go(gaps: list[float]) -> None:
    with TemporaryDirectory() as folder:
        shelf = Shelf(Path(folder))
        moment = BEGIN
        for gap in gaps:
            moment += days(gap)
            entry(shelf, moment)
            shelf.expire()
            assert all(moment - backup.made_at <= EXPIRE_AFTER + days(7) for backup in shelf.backups())


def test_what_was_cut_off_goes_and_what_is_being_made_stays(store: Store) -> None:
    add_client(store)
    shelf = store.backups.shelf
    back_up(store)
    left = shelf.folder / f".{'a' * 32}.tmp"
    left.mkdir()
    (left / "database.sqlite").write_bytes(b"half")
    killed = shelf.folder / f".{'b' * 32}.tmp"
    killed.mkdir()
    killed.with_suffix(".lock").touch()
    with shelf.growing() as growing:
        (growing.root / "half").write_bytes(b"half")
        long_ago = (now() - timedelta(days=900)).timestamp()
        for path in (growing.root / "half", growing.root, *shelf.folder.glob(".*.lock")):
            os.utime(path, (long_ago, long_ago))
        shelf.expire()
        assert (growing.root / "half").exists()
        assert not left.exists()
        assert not killed.exists()
    assert [path.name for path in shelf.folder.iterdir() if path.name.startswith(".")] == []


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
    (photo,) = (each for each in store.photos.find() if store.pictures.get(each.file) == b"lost")
    store.pictures.path(photo.file).write_bytes(b"altered")
    with pytest.raises(StoreDamaged, match="1 photo files"):
        back_up(store)
    newest = store.backups.shelf.backups()[0].folder
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


# promise 25
def test_bringing_one_back(store: Store, tmp_path: Path) -> None:
    gone, kept = add_client(store, "qxgonexq"), add_client(store, "Kept")
    save_pair(store, gone.id, b"qxpicturexq")
    save_pair(store, kept.id, b"b", b"a")
    made = back_up(store)
    store.erasures.erase(gone.id)
    back = bring_back(made, tmp_path / "new")
    assert (back.clients, back.visits, back.photos, back.left_out, back.damaged) == (1, 1, 2, 1, 0)
    assert files_with(tmp_path / "new", [b"qxgonexq", b"qxpicturexq"]) == []
    with pytest.raises(Conflict, match="not empty"):
        bring_back(made, tmp_path / "new")


def test_a_backup_says_nothing_personal_in_its_list(store: Store) -> None:
    add_client(store, "qxnamexq", "qxnotexq")
    made = back_up(store)
    assert files_with(made, [b"qxnamexq"]) == [("database.sqlite", b"qxnamexq")]
    assert set(json.loads((made / "contents.json").read_text("utf-8"))) == {
        "number",
        "made_at",
        "rows",
        "database_sha256",
    }


def test_another_folder_can_be_named(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    add_client(store)
    monkeypatch.setenv("TRACKER_BACKUPS", str(tmp_path / "other disk"))
    assert back_up(store).parent == tmp_path / "other disk"
