"""A database that is not the one its pictures belong to opens nothing, and not a byte on the disk changes."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import sqlite3
import struct
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from command_line import require_refusal, run
from crash_studio import add_client, new_photo, pictures_in, save_pair
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tracker.errors import Conflict, NewerDatabase, StoreDamaged, WrongDatabase
from tracker.store import Store, mark, restore
from tracker.store.mark import LENGTH, read_mark
from tracker.store.unchanged import opened_unchanged, read_log

if TYPE_CHECKING:
    from conftest import MadeOnce

DATABASE, LOG, MARK = "database.sqlite", "database.sqlite-wal", "studio.json"


def tree(root: Path) -> dict[str, str]:
    """Every file and folder, with what it holds."""
    return {
        str(path.relative_to(root)): hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "folder"
        for path in sorted(root.rglob("*"))
    }


@dataclass(frozen=True)
class Kept:
    """A studio on the disk, closed, and its database as it was some saves ago."""

    root: Path
    earlier: bytes


@pytest.fixture
def kept(made_once: MadeOnce, tmp_path: Path) -> Kept:
    """Four pictures, two of which an earlier state of the database does not know; a backup in between."""
    return Kept(tmp_path / "kept" / "studio", made_once.copy("kept-studio", keep, tmp_path / "kept"))


@pytest.fixture
def killed(made_once: MadeOnce, tmp_path: Path) -> Path:
    """The folder of that studio, where a program died while everything since its start lay in the log only."""
    made_once.copy("killed-studio", keep_and_kill, tmp_path / "killed")
    return tmp_path / "killed" / "studio"


def keep(folder: Path) -> bytes:
    """Build the studio of `Kept`; gives its database as it was some saves ago."""
    root = folder / "studio"
    with Store(root) as store:
        save_pair(store, add_client(store, "Ada").id, b"one", b"two")
        store.backups.make()
    earlier = (root / DATABASE).read_bytes()
    with Store(root) as store:
        save_pair(store, store.clients.summaries()[0].client.id, b"three", b"four")
    return earlier


def keep_and_kill(folder: Path) -> None:
    keep(folder)
    root = folder / "studio"
    code = (
        "import sys, os; sys.path[:0] = sys.argv[2:]\n"
        "from pathlib import Path\n"
        "from crash_studio import add_client, save_pair\n"
        "from tracker.store import Store\n"
        "store = Store(Path(sys.argv[1]))\n"
        "save_pair(store, add_client(store, 'Only in the log').id, b'five', b'six')\n"
        "os._exit(0)\n"
    )
    here = Path(__file__).parent
    subprocess.run([sys.executable, "-c", code, root, here, here.parent], check=True)
    assert (root / LOG).stat().st_size > 0


def another_programs(path: Path) -> None:
    path.unlink()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE accounts (id)")


def of_another_studio(path: Path) -> None:
    with Store(path.parent.parent / "another") as store:
        for number in range(9):
            add_client(store, f"Client {number}")
    path.write_bytes((path.parent.parent / "another" / DATABASE).read_bytes())


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:5000])


def overwritten(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[100:4096] = bytes(3996)
    path.write_bytes(content)


def with_a_new_one(path: Path) -> None:
    with Store(path.parent.parent / "new"):
        pass
    path.write_bytes((path.parent.parent / "new" / DATABASE).read_bytes())


WRONG: dict[str, tuple[Callable[[Path], object], str, str]] = {
    "missing": (Path.unlink, "missing", "database is gone"),
    "0 bytes": (lambda path: path.write_bytes(b""), "empty", "database is empty"),
    "1 byte": (lambda path: path.write_bytes(b"S"), "no database", "no longer a database"),
    "text": (lambda path: path.write_bytes(b"no database at all" * 999), "no database", "no longer a database"),
    "the first sectors": (cut, "damaged", "damaged and cannot be read"),
    "a wiped first page": (overwritten, "damaged", "damaged and cannot be read"),
    "another program's": (another_programs, "another program's", "made by another program"),
    "another studio's": (of_another_studio, "foreign", "belongs to another studio"),
    "a new one": (with_a_new_one, "foreign", "belongs to another studio"),
}


# an empty file beside pictures was once taken for a new studio, and every picture in it for a left-over
@pytest.mark.parametrize("name", WRONG)
@pytest.mark.parametrize("lock", [True, False])
def test_a_wrong_database_opens_nothing_and_nothing_changes(kept: Kept, name: str, lock: bool) -> None:
    change, found, words = WRONG[name]
    change(kept.root / DATABASE)
    if not lock:  # as in a folder that was copied without it
        (kept.root / "open.lock").unlink()
    before = tree(kept.root.parent)
    for _ in range(2):
        with pytest.raises(WrongDatabase, match=words) as refused:
            Store(kept.root)
        assert tree(kept.root.parent) == before
    error = refused.value
    (backup,) = (kept.root.parent / "studio-backups").iterdir()
    assert (error.found, error.folder, error.pictures, error.backups) == (found, kept.root, 4, (backup,))
    assert error.readable == (found == "foreign")
    assert f"The folder {kept.root} holds 4 pictures." in error.message
    assert "nothing was changed" in error.message
    assert f"restore BACKUP NEW_FOLDER. The newest: {backup}." in error.message


def test_an_earlier_state_is_refused(kept: Kept) -> None:
    saves = json.loads((kept.root / MARK).read_text())["saves"]
    (kept.root / DATABASE).write_bytes(kept.earlier)
    before = tree(kept.root)
    with pytest.raises(
        WrongDatabase, match=rf"earlier state: it has \d of the {saves} saves that were made here\. .*holds 4 pictures"
    ) as it:
        Store(kept.root)
    assert tree(kept.root) == before
    assert it.value.found == "older"
    assert it.value.readable
    assert f"restore {kept.root} NEW_FOLDER" in it.value.advice


def test_a_backup_put_in_the_place_of_the_database_is_refused(kept: Kept) -> None:
    (backup,) = (kept.root.parent / "studio-backups").iterdir()
    shutil.copy(backup / DATABASE, kept.root / DATABASE)
    before = tree(kept.root)
    with pytest.raises(WrongDatabase, match="earlier state"):
        Store(kept.root)
    assert tree(kept.root) == before


# an earlier schema of the right state is another matter: test_store_engine.py shows that it is upgraded
def test_a_database_from_before_saves_were_counted_is_of_an_earlier_state(kept: Kept) -> None:
    with closing(sqlite3.connect(kept.root / DATABASE)) as connection:
        connection.execute("DROP TABLE studio")
        connection.execute("UPDATE alembic_version SET version_num = '0008'")
        connection.commit()
    before = tree(kept.root)
    with pytest.raises(WrongDatabase, match="earlier state"):
        Store(kept.root)
    assert tree(kept.root) == before


def test_a_newer_schema_is_refused(kept: Kept) -> None:
    with closing(sqlite3.connect(kept.root / DATABASE)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    before = tree(kept.root)
    with pytest.raises(NewerDatabase, match="9999"):
        Store(kept.root)
    assert tree(kept.root) == before


def test_a_database_without_its_log_is_of_an_earlier_state(killed: Path) -> None:
    (killed / LOG).unlink()
    before = tree(killed)
    with pytest.raises(WrongDatabase, match="earlier state") as refused:
        Store(killed)
    assert tree(killed) == before
    assert refused.value.pictures == 6


@pytest.mark.parametrize("left", [[LOG], [LOG, "database.sqlite-shm"], [LOG, "pictures"], ["pictures"], [MARK]])
def test_what_is_left_without_a_database_is_not_taken_for_a_new_studio(killed: Path, left: list[str]) -> None:
    for path in killed.iterdir():
        if path.name not in left:
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    before = tree(killed)
    with pytest.raises(WrongDatabase, match="database is gone"):
        Store(killed)
    assert tree(killed) == before


def test_an_empty_database_with_a_log_is_refused(killed: Path) -> None:
    (killed / DATABASE).write_bytes(b"")
    (killed / MARK).unlink()
    shutil.rmtree(killed / "pictures")
    before = tree(killed)
    with pytest.raises(WrongDatabase, match="database is empty"):
        Store(killed)
    assert tree(killed) == before


def test_what_lies_in_the_log_only_counts(killed: Path) -> None:
    with Store(killed) as store:
        assert {summary.client.name for summary in store.clients.summaries()} == {"Ada", "Only in the log"}
    assert len(pictures_in(killed)) == 6


@pytest.mark.parametrize("content", [b"", b"{", b"{}" + b" " * 126, b"[]" + b" " * 126, b"\xff" * LENGTH, b"x" * 9999])
def test_a_damaged_mark_is_refused(kept: Kept, content: bytes) -> None:
    (kept.root / MARK).write_bytes(content)
    before = tree(kept.root)
    with pytest.raises(WrongDatabase, match="damaged") as refused:
        Store(kept.root)
    assert tree(kept.root) == before
    assert (refused.value.found, refused.value.readable) == ("mark damaged", True)


def test_without_a_mark_the_database_must_know_every_picture(kept: Kept) -> None:
    (kept.root / MARK).unlink()
    (kept.root / DATABASE).write_bytes(kept.earlier)
    before = tree(kept.root)
    with pytest.raises(WrongDatabase, match="does not know every picture") as refused:
        Store(kept.root)
    assert tree(kept.root) == before
    assert refused.value.found == "unmarked"


def test_without_a_mark_a_new_database_is_not_taken_for_the_pictures_own(kept: Kept) -> None:
    with_a_new_one(kept.root / DATABASE)
    (kept.root / MARK).unlink()
    before = tree(kept.root)
    with pytest.raises(WrongDatabase, match="does not know every picture"):
        Store(kept.root)
    assert tree(kept.root) == before


def test_without_a_mark_a_database_that_knows_every_picture_gets_one(kept: Kept) -> None:
    mark = (kept.root / MARK).read_bytes()
    (kept.root / MARK).unlink()
    with Store(kept.root) as store:
        assert len(store.photos.find()) == 4
    assert (kept.root / MARK).read_bytes() == mark


def test_a_studio_of_the_version_before_opens_with_what_lies_there(kept: Kept) -> None:
    (kept.root / MARK).unlink()
    with closing(sqlite3.connect(kept.root / DATABASE)) as connection:
        for statement in (
            "DROP TABLE studio",
            "DROP TABLE picture",
            "ALTER TABLE draft DROP COLUMN revision",
            "DROP TABLE not_remeasured",
            "DROP INDEX ix_photo_client_id_method_taken_at_id",
            "ALTER TABLE photo DROP COLUMN method",
        ):
            connection.execute(statement)
        connection.execute("UPDATE alembic_version SET version_num = '0008'")
        connection.commit()
    orphan = kept.root / "pictures" / "ab" / f"{'ab' * 32}.jpg"
    orphan.parent.mkdir(exist_ok=True)
    orphan.write_bytes(b"nobody's")
    with Store(kept.root) as store:
        assert len(store.photos.find()) == 4
        assert [left.name for left in store.set_aside.pictures()] == [orphan.stem]
    assert read_mark(kept.root / MARK) is not None


@pytest.mark.parametrize("there", [[], [(DATABASE, b"")], [("notes.txt", b"mine")]])
def test_a_folder_that_nothing_was_saved_in_is_a_new_studio(tmp_path: Path, there: list[tuple[str, bytes]]) -> None:
    for name, content in there:
        (tmp_path / name).write_bytes(content)
    with Store(tmp_path) as store:
        assert store.is_empty()


def test_a_new_studio_that_lost_its_database_before_anything_was_saved(tmp_path: Path) -> None:
    Store(tmp_path).close()
    (tmp_path / DATABASE).unlink()
    with Store(tmp_path) as store:
        assert store.is_empty()


def test_a_second_program_checks_too(kept: Kept) -> None:
    with Store(kept.root) as store, Store(kept.root) as beside:
        assert len(beside.photos.find()) == len(store.photos.find()) == 4
        (kept.root / MARK).write_bytes(b"damaged meanwhile")
        with pytest.raises(WrongDatabase):
            Store(kept.root)


def test_the_mark_follows_each_save_and_nothing_else(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        path = tmp_path / MARK
        start = read_mark(path)
        assert start is not None
        client = add_client(store)
        store.clients.summaries()
        store.settings.put("nothing", None)
        store.pictures.let_go(["ab" * 32])
        assert read_mark(path) == type(start)(start.studio, start.saves + 1)
        store.clients.change(client.id, lambda kept: kept)
        assert path.stat().st_size == LENGTH
        with pytest.raises(Conflict):
            store.clients.add(client)
        with store.database.reading() as connection:
            (saves,) = connection.exec_driver_sql("SELECT saves FROM studio").one()
    assert read_mark(path) == type(start)(start.studio, saves)


def test_a_mark_that_was_taken_away_comes_back_with_the_next_save(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        (tmp_path / MARK).unlink()
        add_client(store)
        (tmp_path / MARK).unlink()
        (tmp_path / MARK).mkdir()  # cannot be written: the save stands all the same
        add_client(store, "Bea")
        assert len(store.clients.summaries()) == 2
        (tmp_path / MARK).rmdir()
        add_client(store, "Cleo")
        assert read_mark(tmp_path / MARK) is not None


def test_a_studio_that_is_refused_is_brought_into_a_new_folder(killed: Path, tmp_path: Path) -> None:
    (killed / MARK).write_bytes(b"")
    before = tree(killed)
    restore(killed, tmp_path / "new")
    assert tree(killed) == before
    with Store(tmp_path / "new") as store:
        assert {summary.client.name for summary in store.clients.summaries()} == {"Ada", "Only in the log"}
        assert len(pictures_in(store.root)) == 6


# whoever was erased since that state stays erased: a newer backup knows
def test_an_earlier_state_is_gone_on_with_without_those_who_were_erased_since(tmp_path: Path) -> None:
    root = tmp_path / "studio"
    with Store(root) as store:
        gone, stays = add_client(store, "qxgonexq"), add_client(store, "Stays")
    earlier = (root / DATABASE).read_bytes()
    with Store(root) as store:
        store.erasures.erase(gone.id)
        store.backups.make()
    with Store(tmp_path / "another") as store:
        store.erasures.erase(add_client(store).id)
    (root / DATABASE).write_bytes(earlier)
    restore(root, tmp_path / "new")
    with Store(tmp_path / "new") as store:
        assert [summary.client for summary in store.clients.summaries()] == [stays]
        assert [line.client_id for line in store.erasures.all()] == [gone.id]  # and none of the studio beside


# a full disk must not keep anybody from looking
def test_a_mark_that_cannot_be_written_does_not_keep_the_studio_shut(
    kept: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    (kept.root / MARK).unlink()
    with monkeypatch.context() as patched:
        patched.setattr(mark, "_overwrite", full)
        with Store(kept.root) as store:
            assert len(store.photos.find()) == 4
    with Store(kept.root) as store:
        assert read_mark(kept.root / MARK) is not None


def test_a_restored_studio_is_another_studio(kept: Kept, tmp_path: Path) -> None:
    (backup,) = (kept.root.parent / "studio-backups").iterdir()
    restore(backup, tmp_path / "new")
    mine, its = read_mark(kept.root / MARK), read_mark(tmp_path / "new" / MARK)
    assert mine is not None
    assert its is not None
    assert mine.studio != its.studio
    with Store(tmp_path / "new") as store:
        for number in range(20):
            add_client(store, f"Client {number}")
    shutil.copy(tmp_path / "new" / DATABASE, kept.root / DATABASE)
    with pytest.raises(WrongDatabase, match="another studio"):
        Store(kept.root)


@pytest.mark.parametrize("command", [("backup",), ("demo",)])
def test_the_command_line_says_so_in_one_line(
    kept: Kept, monkeypatch: pytest.MonkeyPatch, command: tuple[str, ...]
) -> None:
    monkeypatch.setenv("TRACKER_HOME", str(kept.root))
    (kept.root / DATABASE).write_bytes(b"")
    before = tree(kept.root)
    refused = run(*command)
    require_refusal(refused, "wrong_database", "database is empty")
    assert "holds 4 pictures" in refused[2]
    assert "measured-hair restore BACKUP NEW_FOLDER" in refused[2]
    assert tree(kept.root) == before


# ---- reading without changing ----


def states(path: Path) -> Iterator[tuple[bytes, bytes, int]]:
    """A database while it is saved into: its file, its log, and how many rows are committed by then."""
    with closing(sqlite3.connect(path, isolation_level=None)) as writer:
        writer.execute("PRAGMA journal_mode=WAL")
        writer.execute("PRAGMA wal_autocheckpoint=40")
        writer.execute("PRAGMA cache_size=4")  # so that pages of an open transaction spill into the log
        writer.execute("CREATE TABLE t (a)")
        log = path.with_name(f"{path.name}-wal")
        for number in range(30):
            writer.execute("BEGIN")
            writer.executemany("INSERT INTO t VALUES (?)", [(os.urandom(700),) for _ in range(20)])
            yield path.read_bytes(), log.read_bytes(), number * 20
            writer.execute("COMMIT")
            yield path.read_bytes(), log.read_bytes(), number * 20 + 20


def test_a_database_is_read_with_its_log_as_sqlite_itself_reads_it(tmp_path: Path) -> None:
    logs = 0
    for number, (content, log, rows) in enumerate(states(tmp_path / "live.sqlite")):
        path = tmp_path / f"{number}.sqlite"
        path.write_bytes(content)
        path.with_name(f"{path.name}-wal").write_bytes(log)
        before = tree(tmp_path)
        with opened_unchanged(path) as connection:
            assert connection.execute("SELECT count(*) FROM t").fetchone() == (rows,)
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            dumped = list(connection.iterdump())
        assert tree(tmp_path) == before
        with closing(sqlite3.connect(path)) as truth:
            assert list(truth.iterdump()) == dumped
        logs += read_log(log) is not None
    assert logs > 30


@pytest.mark.parametrize("cut_off", [0, 1, 31, 32, 100, 5000, -1])
def test_a_log_that_was_cut_off_counts_up_to_its_last_whole_commit(tmp_path: Path, cut_off: int) -> None:
    content, log, _ = next(islice(states(tmp_path / "live.sqlite"), 21, None))
    path = tmp_path / "copy.sqlite"
    path.write_bytes(content)
    path.with_name(f"{path.name}-wal").write_bytes(log[:cut_off])
    with opened_unchanged(path) as connection:
        dumped = list(connection.iterdump())
    with closing(sqlite3.connect(path)) as truth:
        assert list(truth.iterdump()) == dumped


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(place=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7))
def test_a_flipped_bit_in_the_log_is_seen_as_sqlite_sees_it(
    tmp_path_factory: pytest.TempPathFactory, place: float, bit: int
) -> None:
    folder = tmp_path_factory.mktemp("log")
    content, log, _ = next(islice(states(folder / "live.sqlite"), 9, None))
    changed = bytearray(log)
    changed[int(place * len(log))] ^= 1 << bit
    path = folder / "copy.sqlite"
    path.write_bytes(content)
    path.with_name(f"{path.name}-wal").write_bytes(changed)
    with opened_unchanged(path) as connection:
        dumped = list(connection.iterdump())
    with closing(sqlite3.connect(path)) as truth:
        assert list(truth.iterdump()) == dumped


def test_both_orders_of_bytes_of_a_log_are_read() -> None:
    page, salts = bytes(range(256)) * 2, (7, 9)

    def log(magic: int, order: str) -> bytes:
        """Written as sqlite.org, "WAL File Format", says it."""

        def add(raw: bytes, one: int, two: int) -> tuple[int, int]:
            words = struct.unpack(f"{order}{len(raw) // 4}I", raw)
            for even, odd in zip(words[::2], words[1::2], strict=True):
                one = (one + even + two) % 2**32
                two = (two + odd + one) % 2**32
            return one, two

        head = struct.pack(">6I", magic, 3007000, 512, 0, *salts)
        sums = add(head, 0, 0)
        frame = struct.pack(">2I", 1, 1)
        after = add(page, *add(frame, *sums))
        return head + struct.pack(">2I", *sums) + frame + struct.pack(">4I", *salts, *after) + page

    for magic, order in ((0x377F0682, "<"), (0x377F0683, ">")):
        found = read_log(log(magic, order))
        assert found is not None
        assert found.content == {1: page}
    assert read_log(log(0x377F0682, ">")) is None


# ---- whatever happens, no picture is lost ----


def lay(root: Path, files: dict[str, bytes]) -> None:
    """Make these the database, its log and its mark."""
    for name in (DATABASE, LOG, MARK):
        (root / name).unlink(missing_ok=True)
    for name, content in files.items():
        (root / name).write_bytes(content)


def three_pictures(root: Path) -> bytes:
    """Build a studio of three pictures; gives its database as it was when it knew two of them."""
    with Store(root) as store:
        client = add_client(store)
        save_pair(store, client.id, b"one", b"two")
    earlier = (root / DATABASE).read_bytes()
    with Store(root) as store:
        store.photos.save(new_photo(store, client.id, b"three", role="progress"))
    return earlier


DAMAGES = ["older", "empty", "byte", "gone", "foreign", "unmarked", "mismarked", "logless", "orphan"]
ACTS = ["start", "kill", "right", *DAMAGES]


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts=st.lists(st.sampled_from(ACTS), min_size=1, max_size=8))
def test_no_sequence_of_starts_ever_loses_a_picture(
    made_once: MadeOnce, tmp_path_factory: pytest.TempPathFactory, acts: list[str]
) -> None:
    root = tmp_path_factory.mktemp("any") / "studio"
    database = root / DATABASE
    earlier = made_once.copy("three-pictures", three_pictures, root)
    right = {path.name: path.read_bytes() for path in (database, root / MARK)}
    pictures = {path.stem for path in root.rglob("*.jpg")}
    for act in acts:
        if act == "kill":
            with suppress(StoreDamaged), Store(root) as store:
                store.settings.put("touched", len(acts))
                right = {name: (root / name).read_bytes() for name in (DATABASE, LOG, MARK)}
            lay(root, right)  # as a program leaves it that dies
        elif act == "older":
            database.write_bytes(earlier)
        elif act in ("empty", "byte"):
            database.write_bytes(b"" if act == "empty" else b"\0")
        elif act == "gone":
            database.unlink(missing_ok=True)
        elif act == "foreign":
            if not (root.parent / "new").exists():
                Store(root.parent / "new").close()
            shutil.copy(root.parent / "new" / DATABASE, database)
        elif act == "unmarked":
            (root / MARK).unlink(missing_ok=True)
        elif act == "mismarked":
            (root / MARK).write_bytes(b"")
        elif act == "logless":
            (root / LOG).unlink(missing_ok=True)
        elif act == "right":
            lay(root, right)
        elif act == "orphan":
            orphan = hashlib.sha256(b"orphan").hexdigest()
            place = root / "pictures" / orphan[:2] / f"{orphan}.jpg"
            place.parent.mkdir(exist_ok=True)
            place.write_bytes(b"orphan")
            pictures.add(orphan)
        with suppress(StoreDamaged):
            Store(root).close()
        assert {path.stem for path in root.rglob("*.jpg")} == pictures
    lay(root, right)
    with Store(root) as store:
        assert sorted(store.pictures.get(photo.file) for photo in store.photos.find()) == [b"one", b"three", b"two"]
