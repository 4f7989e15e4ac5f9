"""Whatever step a program dies at, the studio is found as before or as after, never in between."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from crash_studio import add_client, new_photo, new_visit, pictures_in
from sqlalchemy import event

from tracker.store import Store

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs fork and SIGKILL")


def crashes(job: str, folder: Path) -> list[dict[str, Any]]:
    """What is found after dying at each step of a job."""
    script = Path(__file__).with_name("crash_saving.py")
    done = subprocess.run(
        [sys.executable, script, job, folder], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


# promises 18, 19 and 22
def test_killed_while_saving(tmp_path: Path) -> None:
    found = crashes("save", tmp_path)
    assert len(found) > 15
    old = {"pictures": ["qxbeforexq"], "notes": [""]}
    new = {"pictures": ["new after", "new before"], "notes": ["changed"]}
    for state in found:
        assert state["sound"]
        assert state["files_match"]
        visible = {"pictures": state["pictures"], "notes": state["notes"]}
        assert visible in (old, new)
        if visible == new:
            assert state["drafts"] == 0
    assert {"pictures": found[0]["pictures"], "notes": found[0]["notes"]} == old
    assert {"pictures": found[-1]["pictures"], "notes": found[-1]["notes"]} == new


def test_killed_while_erasing(tmp_path: Path) -> None:
    found = crashes("erase", tmp_path)
    assert len(found) > 8
    for state in found:
        assert state["sound"]
        assert state["files_match"]
        assert state["clients"] + state["erased"] == 1
        assert (state["tokens"] > 0) == (state["clients"] == 1)
    assert found[0]["clients"] == 1
    assert found[-1]["erased"] == 1


def test_killed_while_deleting(tmp_path: Path) -> None:
    found = crashes("remove", tmp_path)
    for state in found:
        assert state["sound"]
        assert state["files_match"]
        assert len(state["notes"]) == len(state["pictures"])
    assert found[-1]["pictures"] == []


# promises 18, 19 and 22, for what is done to whole records
def test_killed_while_taking_a_deletion_back(tmp_path: Path) -> None:
    found = crashes("put_back", tmp_path)
    assert len(found) > 12
    for state in found:
        assert state["sound"]
        assert state["files_match"]
        assert (len(state["notes"]), len(state["pictures"])) in ((0, 0), (1, 1))
    assert found[-1]["pictures"] == ["qxbeforexq"]
    assert [] in [state["notes"] for state in found]


def test_killed_while_merging(tmp_path: Path) -> None:
    found = crashes("merge", tmp_path)
    assert len(found) > 12
    for state in found:
        assert state["sound"]
        assert state["files_match"]
        assert (state["clients"], state["clients_of_visits"], len(state["notes"])) in ((2, 2, 2), (1, 1, 2))
    assert (found[0]["clients"], found[-1]["clients"]) == (2, 1)


def test_killed_while_bringing_a_list_in(tmp_path: Path) -> None:
    found = crashes("bring_in", tmp_path)
    assert len(found) > 4
    for state in found:
        assert state["sound"]
        assert (state["clients"], len(state["notes"])) in ((1, 1), (4, 4))
    assert (found[0]["clients"], found[-1]["clients"]) == (1, 4)


def test_killed_while_measuring_again(tmp_path: Path) -> None:
    found = crashes("remeasure", tmp_path)
    assert len(found) > 20
    hairs = []
    for state in found:
        assert state["sound"]
        assert state["files_match"]
        # each photo has its earlier reading, or the new one with the earlier one in the log, never both or neither
        assert all(each in (["ribbon", 0], ["whole", 1]) for each in state["readings"])
        assert len(state["pictures"]) == 3
        hairs.append([hair for hair, _ in state["readings"]])
    assert (hairs[0], hairs[-1]) == (["ribbon"] * 3, ["whole", "whole", "ribbon"])
    assert sum(hair == "whole" for row in hairs for hair in row) > 0
    assert {row.count("whole") for row in hairs} == {0, 1, 2}
    assert (found[0]["left"], found[-1]["left"]) == (0, 1)


# promise 24: a backup that is listed is whole
def test_killed_while_backing_up(tmp_path: Path) -> None:
    found = crashes("back_up", tmp_path)
    assert len(found) > 8
    for state in found:
        assert state["sound"]
        assert state["files_match"]
        assert all(state["backups"])
    assert found[0]["backups"] == []
    assert len(found[-1]["backups"]) == 2


# promise 25: a restore is whole or not there, and nothing of it is left elsewhere
def test_killed_while_restoring(tmp_path: Path) -> None:
    found = crashes("bring_back", tmp_path)
    assert len(found) > 30
    for state in found:
        assert state["sound"]
        assert state["files_match"]
        assert state["restored"] in (None, [["qxbeforexq"], 1, True])
        assert state["left_beside"] == []
    assert (found[0]["restored"], found[-1]["restored"]) == (None, [["qxbeforexq"], 1, True])


def test_killed_while_setting_aside_and_bringing_back(tmp_path: Path) -> None:
    found = crashes("set_aside", tmp_path)
    assert len(found) > 20
    for state in found:
        assert state["sound"]
        assert state["files_match"]
        assert (state["pictures"], state["aside"]) == (["lost", "qxbeforexq"], ["nobody's"])


def test_killed_while_writing_which_studio_it_is(tmp_path: Path) -> None:
    found = crashes("mark", tmp_path)
    assert len(found) > 20
    assert all(state["sound"] and state["pictures"] == ["qxbeforexq"] for state in found)


def test_killed_at_any_step_of_any_job(tmp_path: Path) -> None:
    script = Path(__file__).with_name("crash_saving.py")
    words = [sys.executable, script, "all", tmp_path, "--kills", "30"]
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=600)
    assert done.returncode == 0, done.stderr
    assert "nothing lost and nothing in between" in done.stdout


class CutOff(Exception):
    """Raised by the test in the middle of saving."""


# promise 18
def test_an_error_at_any_step_of_saving_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store(tmp_path) as store:
        client = add_client(store)
        visit = new_visit(client.id)
        kept = store.visits.save(visit, [new_photo(store, client.id, b"old", visit_id=visit.id)])
        steps, last = count(), 0

        def step(*_: object) -> None:
            if next(steps) == last:
                raise CutOff

        def counted(real: Callable[..., None]) -> Callable[..., None]:
            def run(*args: Any) -> None:
                step()
                real(*args)

            return run

        event.listen(store.database.engine, "after_cursor_execute", step)
        for name in ("fsync", "replace"):
            monkeypatch.setattr(os, name, counted(getattr(os, name)))
        for last in count():
            steps = count()
            try:
                photo = new_photo(store, client.id, b"new", visit_id=visit.id)
                store.visits.save(replace(kept, note="new"), [photo])
                break
            except CutOff:
                steps = count(last + 1)
                if store.visits.get(visit.id) == kept:
                    assert [store.pictures.get(photo.file) for photo in store.photos.find(visit_id=visit.id)] == [
                        b"old"
                    ]
                else:  # saved; only the old picture was not removed yet, which the next start does
                    break
        assert last > 8
        assert store.visits.get(visit.id).note == "new"
    with Store(tmp_path) as store:
        assert pictures_in(tmp_path) == {photo.file for photo in store.photos.find()}
        assert [store.pictures.get(photo.file) for photo in store.photos.find()] == [b"new"]
