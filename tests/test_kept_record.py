"""Keeping the record: promises that no other file of tests shows whole."""

from __future__ import annotations

import json
import logging
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from alembic import command
from crash_studio import add_client, files_with, new_draft, new_photo, new_visit, pictures_in, save_pair
from test_export import unpacked
from test_pages_harness import Filled, open_page, words

from tracker import workflow
from tracker.errors import ConsentMissing
from tracker.record.records import CONSENT_VERSION, MEASURING, PORTFOLIO
from tracker.store import Store, engine, migrate, restore
from tracker.workflow.backups import bring_back
from tracker.workflow.export import export_client, export_everything

pytest_plugins = ("test_pages_harness",)

PENDING = 200_000
KILLED = """
import os, signal, sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("PRAGMA journal_mode=WAL")
connection.execute("PRAGMA cache_size=50")  # small, so that pages are written before the commit
connection.execute("BEGIN IMMEDIATE")
rows = ((f"pending {number}", "x", 0, "{}") for number in range(int(sys.argv[2])))
connection.executemany("INSERT INTO client (id, search, demo, record) VALUES (?, ?, ?, ?)", rows)
os.kill(os.getpid(), signal.SIGKILL)
"""


# promise 19
@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_killed_with_two_hundred_thousand_rows_pending(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        client = add_client(store)
        visit = save_pair(store, client.id)
    database = tmp_path / "database.sqlite"
    done = subprocess.run([sys.executable, "-c", KILLED, database, str(PENDING)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert (tmp_path / "database.sqlite-wal").stat().st_size > 10_000_000
    with Store(tmp_path) as store:
        assert [summary.client for summary in store.clients.summaries()] == [client]
        assert store.visits.of_client(client.id) == [visit]
        with store.database.reading() as connection:
            assert connection.exec_driver_sql("SELECT count(*) FROM client").scalar() == 1
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    assert pictures_in(tmp_path)


@pytest.fixture
def small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    monkeypatch.setenv("TRACKER_HOME", str(tmp_path / "studio"))
    with Store(tmp_path / "studio") as opened:
        yield opened


# promise 25: one report identical
def test_a_restored_client_hands_out_the_same_record(filled: Filled, tmp_path: Path) -> None:
    def handed_out(store: Store) -> dict[str, bytes]:
        files = unpacked(export_client(store, filled.client.id)[0])
        whole = json.loads(files.pop("record.json"))
        whole.pop("made_at")
        page = files.pop("record.html").partition(b"put together on")
        return {**files, "record": json.dumps(whole, sort_keys=True).encode(), "page": page[2].partition(b"</p>")[2]}

    made = filled.store.backups.make(tmp_path / "backups")
    restore(made, tmp_path / "new")
    with Store(tmp_path / "new") as restored:
        assert handed_out(restored) == handed_out(filled.store)


OLDEST = "0001"


# promise 26: a database as the first version wrote it
def test_a_database_of_the_first_version_is_upgraded(tmp_path: Path) -> None:
    root = tmp_path / "studio"
    with Store(root) as store:
        client = add_client(store, "Ada")
        visit = save_pair(store, client.id, b"before", b"after")
        kept = store.photos.find(visit_id=visit.id)
    tables = ("client", "consent", "visit", "photo")
    with closing(sqlite3.connect(root / "database.sqlite")) as new:
        rows = {table: new.execute(f"SELECT * FROM {table}").fetchall() for table in tables}
    for left in (*root.glob("database.sqlite*"), root / "studio.json"):  # the first version had no mark beside it
        left.unlink()
    made = engine.make_engine(root / "database.sqlite", foreign_keys=False)
    with made.begin() as connection:
        command.upgrade(migrate.alembic_config(connection), OLDEST)
    made.dispose()
    with closing(sqlite3.connect(root / "database.sqlite")) as old:
        for table in tables:
            columns = [row[1] for row in old.execute(f"PRAGMA table_info({table})")]
            old.executemany(
                f"INSERT INTO {table} VALUES ({', '.join('?' * len(columns))})",
                [row[: len(columns)] for row in rows[table]],
            )
        old.commit()
    with Store(root) as store:
        assert [summary.client for summary in store.clients.summaries()] == [client]
        assert store.visits.of_client(client.id) == [visit]
        assert store.photos.find(visit_id=visit.id) == kept
        assert [found.visit for found in store.visits.find("toner")[0]] == [visit]
        with store.database.engine.begin() as connection:
            command.check(migrate.alembic_config(connection))
    with closing(sqlite3.connect(root / "before-upgrade.sqlite")) as safe:
        assert safe.execute("SELECT version_num FROM alembic_version").fetchone() == (OLDEST,)
        assert safe.execute("SELECT count(*) FROM photo").fetchone() == (2,)


# promise 28
def test_a_visit_with_photos_needs_the_answer_and_the_answer_says_all(small: Store) -> None:
    client = add_client(small, purposes=())
    visit = new_visit(client.id)
    with pytest.raises(ConsentMissing):
        small.visits.save(visit, [new_photo(small, client.id, b"x", visit_id=visit.id)])
    assert small.visits.of_client(client.id) == []
    workflow.answer_consent(small, client.id, MEASURING, given=True, by="the owner")
    (answer,) = small.consents.of_client(client.id)
    assert (answer.purpose, answer.given, answer.wording_version) == (MEASURING, True, CONSENT_VERSION)
    assert answer.recorded_by == "the owner"
    assert answer.recorded_at.tzinfo is not None
    small.visits.save(visit, [new_photo(small, client.id, b"x", visit_id=visit.id)])


# promises 29 and 30: measured only; the wear is shown, the portfolio is not, and a word takes it back
def test_agreement_to_one_purpose_is_not_agreement_to_the_other(filled: Filled) -> None:
    workflow.answer_consent(filled.store, filled.client.id, PORTFOLIO, given=False, by="me")
    shown = open_page("client", client=filled.client.id)
    assert "How the colour wears" in words(shown)
    assert filled.store.portfolio.entries() == []
    assert filled.store.portfolio.visits() == []
    assert "lighter, by " not in words(open_page("portfolio"))
    shown.button(key=f"agreement-{PORTFOLIO}").click().run()
    assert "lighter, by " in words(open_page("portfolio"))
    shown.button(key=f"agreement-{PORTFOLIO}").click().run()
    assert "lighter, by " not in words(open_page("portfolio"))
    assert [answer.given for answer in filled.store.consents.of_client(filled.client.id)][-3:] == [False, True, False]


TOKENS = tuple(f"qx{place}xq".encode() for place in ("name", "note", "words", "draft", "photo", "lost", "merged"))


# promise 31: the record, its log, what was deleted, merged, exported and backed up, and the program's own log
def test_after_an_erasure_no_byte_is_anywhere_but_in_backups(
    small: Store, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    name, note, said, in_draft, picture, lost, merged = (token.decode() for token in TOKENS)
    other = add_client(small, "Other")
    save_pair(small, other.id, b"theirs")
    client, twin = add_client(small, name, note), add_client(small, merged)
    visit = new_visit(client.id, note=said)
    kept = small.visits.save(visit, [new_photo(small, client.id, picture.encode() * 9, visit_id=visit.id)])
    small.visits.save(replace(kept, note="changed"), small.photos.find(visit_id=visit.id))
    small.drafts.save(new_draft(client.id, new_visit(client.id, note=in_draft), ()))
    deletion = small.visits.delete(save_pair(small, client.id, lost.encode() * 9).id)
    small.clients.merge(client, twin.id, by="me")
    export_everything(small)
    export_client(small, client.id)
    backup = small.backups.make()
    receipt = small.erasures.erase(client.id)
    everywhere = {name for name, _ in files_with(tmp_path, TOKENS)}
    inside_backup = {name for name, _ in files_with(backup, TOKENS)}
    assert inside_backup
    assert everywhere == inside_backup
    assert files_with(small.root, TOKENS) == files_with(small.database.layout.exports, TOKENS) == []
    assert not small.deletions.can_put_back(deletion.token)
    assert not [token for token in TOKENS if token.decode() in caplog.text]
    assert not [token for token in TOKENS if token.decode() in repr(receipt) + repr(small.erasures.receipts())]
    assert receipt.counts.visits == 1
    assert receipt.counts.exports == 1
    assert receipt.counts.edits > 0
    # promise 32
    back = bring_back(backup, tmp_path / "again")
    assert (back.clients, back.left_out) == (1, 1)  # the merged record is no client of its own
    assert files_with(tmp_path / "again", TOKENS) == []
