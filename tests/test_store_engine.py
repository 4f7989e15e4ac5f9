"""Connections, migrations and many hands at once."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from alembic import command
from crash_studio import add_client, new_photo, new_visit, pictures_in, save_pair
from sqlalchemy import Connection

from tracker.errors import Conflict, NewerDatabase, NotFound, StoreDamaged, StoreError
from tracker.store import Store, engine, migrate
from tracker.store.faults import database_faults

WANTED = {
    "journal_mode": "wal",
    "synchronous": 2,
    "foreign_keys": 1,
    "busy_timeout": 15_000,
    "secure_delete": 1,
    "temp_store": 2,
}


def pragmas(connection: Connection) -> dict[str, object]:
    return {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in WANTED}


def revision(path: Path) -> str:
    with closing(sqlite3.connect(path)) as connection:
        return str(connection.execute("SELECT version_num FROM alembic_version").fetchone()[0])


# promises 20 and 21
def test_settings_of_fresh_and_pooled_connections(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        with (
            store.database.engine.connect() as fresh,
            store.database.engine.execution_options(write=False).connect() as second,
        ):
            assert pragmas(fresh) == pragmas(second) == WANTED
        with store.database.engine.connect() as pooled:
            assert pragmas(pooled) == WANTED


def test_writers_lock_at_once_and_readers_do_not(tmp_path: Path) -> None:
    with Store(tmp_path) as store, store.database.writing():
        with store.database.reading() as connection:
            assert connection.exec_driver_sql("SELECT count(*) FROM client").scalar() == 0
        other = sqlite3.connect(tmp_path / "database.sqlite", timeout=0)
        with closing(other), pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")


def test_a_busy_database_is_a_conflict(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store(tmp_path):
        monkeypatch.setattr(engine, "BUSY_SECONDS", 0.0)
        impatient = engine.make_engine(tmp_path / "database.sqlite")
        with closing(sqlite3.connect(tmp_path / "database.sqlite")) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(Conflict, match="saving"), database_faults(), impatient.begin():
                pytest.fail("two writers at once")
        impatient.dispose()


def test_models_and_migrations_agree(tmp_path: Path) -> None:
    with Store(tmp_path) as store, store.database.engine.begin() as connection:
        command.check(migrate.alembic_config(connection))


# promise 26
def test_a_newer_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        add_client(store)
    path = tmp_path / "database.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    before = path.read_bytes()
    with pytest.raises(NewerDatabase, match="9999"):
        Store(tmp_path)
    assert path.read_bytes() == before
    assert not (tmp_path / "before-upgrade.sqlite").exists()


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "database.sqlite")) as connection:
        connection.execute("CREATE TABLE accounts (id)")
    with pytest.raises(StoreDamaged, match="another program"):
        Store(tmp_path)


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    (tmp_path / "database.sqlite").write_bytes(b"not a database at all" * 100)
    with pytest.raises(StoreDamaged):
        Store(tmp_path)


SECOND = """
import sqlalchemy as sa
from alembic import op

revision, down_revision, branch_labels, depends_on = "next", "{head}", None, None


def upgrade():
    assert op.get_bind().exec_driver_sql("PRAGMA foreign_keys").scalar() == 0
    with op.batch_alter_table("client", recreate="always") as batch:
        batch.add_column(sa.Column("added", sa.String))
    {then}
"""


def head() -> str:
    """The newest revision that the program comes with."""
    return max(path.name[:4] for path in (Path(migrate.__file__).parent / "migrations" / "versions").glob("0*.py"))


@pytest.fixture
def with_second_revision(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """A function that gives the program a second revision, ending in the given statement."""

    def give(then: str) -> None:
        scripts = tmp_path / "scripts"
        shutil.copytree(migrate._SCRIPTS, scripts)
        (scripts / "versions" / "9999_next.py").write_text(SECOND.format(then=then, head=head()))
        monkeypatch.setattr(migrate, "_SCRIPTS", scripts)

    return give


# promise 26
def test_an_upgrade_keeps_what_refers_to_a_rebuilt_table(
    tmp_path: Path, with_second_revision: Callable[[str], None]
) -> None:
    root = tmp_path / "studio"
    with Store(root) as store:
        client = add_client(store)
        visit = save_pair(store, client.id)
    with_second_revision("pass")
    with Store(root) as store:
        assert store.visits.of_client(client.id) == [visit]
        assert len(store.photos.find(client.id)) == 2
        assert len(store.consents.of_client(client.id)) == 2
        assert revision(root / "database.sqlite") == "next"
        assert revision(root / "before-upgrade.sqlite") == head()
        store.erasures.erase(client.id)
        assert not (root / "before-upgrade.sqlite").exists()


# promise 26
@pytest.mark.parametrize(
    "then", ["raise RuntimeError('half-way')", "op.execute('DELETE FROM client')", "op.execute('NO SUCH STATEMENT')"]
)
def test_a_failed_upgrade_changes_nothing(
    tmp_path: Path, with_second_revision: Callable[[str], None], then: str
) -> None:
    root = tmp_path / "studio"
    with Store(root) as store:
        save_pair(store, add_client(store).id)
    before = (root / "database.sqlite").read_bytes()
    with_second_revision(then)
    with pytest.raises((RuntimeError, StoreDamaged, StoreError)):
        Store(root)
    assert (root / "database.sqlite").read_bytes() == before
    assert revision(root / "before-upgrade.sqlite") == head()
    assert len(pictures_in(root)) == 2


def in_threads(*jobs: Callable[[], None]) -> list[BaseException]:
    """Run the jobs at once; returns what went wrong."""
    errors: list[BaseException] = []

    def run(job: Callable[[], None]) -> None:
        try:
            job()
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=run, args=(job,)) for job in jobs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return errors


def test_many_open_a_new_folder_at_once(tmp_path: Path) -> None:
    assert in_threads(*[lambda: Store(tmp_path / "studio").close()] * 6) == []
    with Store(tmp_path / "studio") as store:
        assert store.is_empty()


# promise 23
def test_writers_and_readers_at_once(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client = add_client(store)

        def write() -> None:
            for number in range(8):
                store.photos.save(new_photo(store, client.id, b"%d" % number, role="progress"))

        def read() -> None:
            for _ in range(20):
                store.clients.summaries("a")
                store.photos.find(client.id)

        assert in_threads(*[write] * 4, *[read] * 4) == []
        assert len(store.photos.find(client.id)) == 32
        assert len(pictures_in(tmp_path)) == 8


# promise 23
def test_two_windows_saving_one_visit(tmp_path: Path) -> None:
    with Store(tmp_path) as one, Store(tmp_path) as two:
        client = add_client(one)
        visit = one.visits.save(new_visit(client.id), [])
        saved: list[str] = []

        def change(store: Store, word: str) -> Callable[[], None]:
            def run() -> None:
                for _ in range(10):
                    try:
                        store.visits.save(replace(store.visits.get(visit.id), note=word), [])
                        saved.append(word)
                    except Conflict:
                        continue

            return run

        assert in_threads(change(one, "one"), change(two, "two")) == []
        assert one.visits.get(visit.id).revision == 1 + len(saved)
        assert len(saved) >= 10


def test_pictures_and_deletions_at_once_never_leave_a_photo_without_its_picture(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client = add_client(store)

        def come_and_go() -> None:
            for _ in range(8):
                photo = new_photo(store, client.id, b"the same for all")
                try:
                    store.photos.save(photo)
                except NotFound:  # somebody removed the picture in between: refused, not lost silently
                    continue
                store.photos.delete(photo.id)

        assert in_threads(*[come_and_go] * 4) == []
        for photo in store.photos.find():
            store.pictures.get(photo.file)
        assert pictures_in(tmp_path) == {photo.file for photo in store.photos.find()}
