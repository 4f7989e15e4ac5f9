"""Backups from the command line, for when the pages cannot be opened."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_line import require_refusal, run
from crash_studio import add_client, save_pair

from tracker.store import Store


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRACKER_HOME", str(tmp_path / "studio"))
    with Store(tmp_path / "studio") as store:
        save_pair(store, add_client(store, "Kept").id, b"b", b"a")
    return tmp_path


def test_back_up_check_and_bring_back(home: Path) -> None:
    status, out, err = run("backup", "--json")
    assert (status, err) == (0, "")
    made = Path(json.loads(out)["backup"])
    assert made.parent == home / "studio-backups"
    status, out, _ = run("check-backup", made, "--json")
    assert (status, json.loads(out)["photos"], json.loads(out)["damaged"]) == (0, 2, [])
    with Store(home / "studio") as store:
        gone = store.clients.summaries()[0].client.id
        store.erasures.erase(gone)
    status, out, _ = run("restore", made, home / "new", "--json")
    assert (status, json.loads(out)["clients"], json.loads(out)["erased"]) == (0, 0, 1)


def test_bring_back_where_the_studio_itself_is_broken(home: Path) -> None:
    made = Path(json.loads(run("backup", home / "elsewhere", "--json")[1])["backup"])
    for file in (home / "studio").glob("database.sqlite*"):
        file.write_bytes(b"broken" * 999)
    status, out, err = run("restore", made, home / "new")
    assert (status, err) == (0, "")
    assert out.startswith("1 clients, 1 visits and 2 photos are in ")


def test_what_cannot_be_done_is_one_line(home: Path) -> None:
    made = Path(json.loads(run("backup", "--json")[1])["backup"])
    require_refusal(run("restore", made, home / "studio"), "conflict", "not empty")
    require_refusal(run("restore", home / "nothing", home / "new"), "not_found", "no backup")
    require_refusal(run("check-backup", home / "nothing"), "not_found", "no backup")
    require_refusal(run("backup", home / "studio" / "inside"), "store_error", "inside")
    next((made / "pictures").rglob("*.jpg")).write_bytes(b"altered")
    assert run("check-backup", made)[0] == 1
    (made / "database.sqlite").write_bytes(b"x")
    require_refusal(run("check-backup", made), "store_damaged", "damaged")
