"""What a person sees where the studio does not open, where its database is damaged, and of what is set aside."""

from __future__ import annotations

import os
import shutil
from datetime import date, timedelta
from pathlib import Path

import pytest
from crash_studio import add_client, save_pair
from starlette.applications import Starlette
from streamlit.testing.v1 import AppTest
from test_pages_harness import Filled, assert_no_failure, drawn_photo, open_page, words
from test_server import ask

from tracker.store import Store
from tracker.ui import catching_up, daily, server, session
from tracker.ui.start import __file__ as start
from tracker.words import day

pytest_plugins = ("test_pages_harness",)


def opened() -> AppTest:
    """The app as Streamlit runs it, from its first line."""
    return AppTest.from_file(str(Path(start).with_name("script.py")), default_timeout=60).run()


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A studio of one client whose newer pictures the database that lies there does not know, with one backup."""
    root = tmp_path / "studio"
    monkeypatch.setenv("TRACKER_HOME", str(root))
    with Store(root) as store:
        save_pair(store, add_client(store, "Ada").id, b"one", b"two")
        store.backups.make()
    earlier = (root / "database.sqlite").read_bytes()
    with Store(root) as store:
        save_pair(store, store.clients.summaries()[0].client.id, b"three", b"four")
    (root / "database.sqlite").write_bytes(earlier)
    return root


def pictures(root: Path) -> set[str]:
    return {path.stem for path in root.rglob("*.jpg")}


def test_a_studio_that_does_not_open_says_why_and_brings_a_backup_back(home: Path) -> None:
    before = {path: path.read_bytes() for path in home.rglob("*") if path.is_file()}
    test = opened()
    assert_no_failure(test)
    assert test.title[0].value == "The studio does not open"
    said = words(test)
    assert "from an earlier state" in said
    assert "holds 4 pictures" in said
    assert "nothing was changed" in said
    assert test.selectbox(key="refused-backup").options
    assert test.text_input(key="refused-folder").value == f"{home}-restored"
    test.button(key="refused-restore").click().run()
    assert_no_failure(test)
    assert f"TRACKER_HOME={home}-restored" in words(test)
    with Store(home.with_name("studio-restored")) as store:
        assert len(store.photos.find()) == 2
    assert {path: path.read_bytes() for path in home.rglob("*") if path.is_file()} == before
    test.button(key="refused-restore").click().run()
    assert "is not empty" in words(test)


def test_the_database_that_lies_there_is_copied_if_it_is_sound(home: Path) -> None:
    test = opened()
    test.button(key="refused-copy").click().run()
    assert_no_failure(test)
    with Store(home.with_name("studio-restored")) as store:
        assert len(store.photos.find()) == 2
    (home / "database.sqlite").write_bytes(b"")
    test = opened()
    assert "database is empty" in words(test)
    assert not [button for button in test.button if button.key == "refused-copy"]


def test_where_there_is_no_backup_another_folder_can_be_named(home: Path, tmp_path: Path) -> None:
    (backup,) = (tmp_path / "studio-backups").iterdir()
    backup.rename(tmp_path / "elsewhere")
    test = opened()
    assert "There is no backup in the usual place" in words(test)
    assert test.button(key="refused-restore").disabled
    test.text_input(key="refused-other").set_value(str(tmp_path / "nowhere")).run()
    test.button(key="refused-restore").click().run()
    assert "There is no backup in" in words(test)
    test.text_input(key="refused-other").set_value(str(tmp_path / "elsewhere")).run()
    test.button(key="refused-restore").click().run()
    assert_no_failure(test)
    with Store(tmp_path / "studio-restored") as store:
        assert len(store.photos.find()) == 2


# whoever was erased since the backup stays erased, also where the list lies in the database that does not open
def test_the_erased_stay_erased(home: Path, tmp_path: Path) -> None:
    shutil.rmtree(home)
    shutil.rmtree(tmp_path / "studio-backups")
    with Store(home) as store:
        gone, kept = add_client(store, "Gone"), add_client(store, "Kept")
        store.backups.make()
        store.erasures.erase(gone.id)
    (home / "studio.json").write_bytes(b"")
    test = opened()
    test.button(key="refused-restore").click().run()
    assert_no_failure(test)
    with Store(tmp_path / "studio-restored") as store:
        assert [summary.client for summary in store.clients.summaries()] == [kept]


def test_a_studio_that_is_right_again_opens(home: Path) -> None:
    assert opened().title[0].value == "The studio does not open"
    shutil.rmtree(home)
    test = opened()
    assert_no_failure(test)
    assert test.title[0].value == "Today"
    session.close_stores()


# ---- a damaged database ----


@pytest.mark.parametrize("backups", [True, False])
def test_a_damaged_database_is_said_with_the_way_out(filled: Filled, backups: bool) -> None:
    assert "damaged" not in words(open_page("today"))
    if backups:
        filled.store.backups.make()
    filled.store.database.damaged = True
    for name in ("today", "data"):
        test = open_page(name)
        assert_no_failure(test)
        said = words(test)
        assert "A part of the database is damaged." in said
        assert ("bring it back into a new folder" in said) == backups
        assert ("There is no backup" in said) == (not backups)
        assert day(date.today()) in said or not backups
    assert "Ada" in words(open_page("client", client=filled.client.id))


def test_nothing_is_worked_out_in_a_damaged_database(filled: Filled, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object) -> int:
        raise AssertionError("worked out in a damaged database")

    filled.store.database.damaged = True
    for name in ("catch_up", "catch_up_results"):
        monkeypatch.setattr(catching_up, name, never)
    assert catching_up.caught_up() == catching_up.results_caught_up() == 0
    catching_up.catch_up_now()
    assert_no_failure(open_page("due"))


def test_the_server_looks_at_a_large_database_by_itself(filled: Filled, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    monkeypatch.setattr(Store, "finish_check", lambda self: asked.append(self))
    daily.look_at_database()
    assert asked == [filled.store]


# ---- what is set aside ----


def leave(filled: Filled, number: int, days_ago: int) -> list[str]:
    """Photos that no record names lie set aside."""
    names = []
    for index in range(number):
        path = filled.store.pictures.path(filled.store.pictures.put(drawn_photo(30.0 + index, seed=index + 1)))
        aside = filled.store.root / "set-aside" / (date.today() - timedelta(days=days_ago)).isoformat() / path.name
        aside.parent.mkdir(parents=True, exist_ok=True)
        path.rename(aside)
        names.append(path.stem)
    return names


def test_what_is_set_aside_is_shown_and_removed_after_a_yes(filled: Filled) -> None:
    assert "Set aside" not in words(open_page("data"))
    before = pictures(filled.store.root)
    names = leave(filled, 2, days_ago=3)
    test = open_page("data")
    assert_no_failure(test)
    said = words(test)
    assert "2 pictures, " in said
    assert f"since {day(date.today() - timedelta(days=3))}" in said
    assert all(f"/set-aside/{name}.jpg" in said for name in names)
    assert "set aside" not in words(open_page("today"))
    assert not [button for button in test.button if button.key == "aside-keep"]
    assert test.button(key="aside-remove").disabled
    assert pictures(filled.store.root) == before | set(names)
    test.checkbox(key="aside-sure").check().run()
    test.button(key="aside-remove").click().run()
    assert_no_failure(test)
    assert "2 pictures removed" in words(test)
    assert "Set aside" not in words(open_page("data"))
    assert pictures(filled.store.root) == before


def test_after_thirty_days_a_person_is_asked_and_can_keep_it(filled: Filled) -> None:
    (name,) = leave(filled, 1, days_ago=30)
    assert "1 picture that no record names has been set aside since" in words(open_page("today"))
    test = open_page("data")
    assert "Remove it, or keep it?" in words(test)
    test.button(key="aside-keep").click().run()
    assert_no_failure(test)
    assert "You will be asked again in 30 days" in words(test)
    assert "set aside" not in words(open_page("today"))
    assert name in pictures(filled.store.root)


def test_the_receipt_says_what_lay_set_aside(filled: Filled) -> None:
    leave(filled, 2, days_ago=3)
    filled.store.erasures.erase(filled.client.id)
    assert "2 pictures that lay set aside" in words(open_page("data"))


def test_a_small_picture_of_what_is_set_aside_is_served_and_not_kept(filled: Filled) -> None:
    (name,) = leave(filled, 1, days_ago=3)
    app = Starlette(routes=server.routes())
    answer = ask(app, f"/set-aside/{name}.jpg")
    assert (answer.status, answer.headers["content-type"]) == (200, "image/jpeg")
    assert answer.headers["cache-control"] == "no-store"
    for other in ("ab" * 32, "..", "%2e%2e", "*", filled.store.photos.find()[0].file):
        assert ask(app, f"/set-aside/{other}.jpg").status == 404
    os.truncate(next((filled.store.root / "set-aside").rglob("*.jpg")), 100)
    assert ask(app, f"/set-aside/{name}.jpg").status == 422
