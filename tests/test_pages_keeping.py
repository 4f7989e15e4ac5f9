"""The pages that keep, hand out, bring in, merge and take back."""

from __future__ import annotations

import io
import zipfile
from datetime import date, timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest
from test_pages_harness import NASTY, Filled, assert_no_failure, open_page, words

from tracker import workflow
from tracker.errors import NotFound, StoreError
from tracker.record.records import MEASURING, PORTFOLIO, new_id
from tracker.store import Store
from tracker.store.erasure import Erasures
from tracker.ui import daily, erasures, navigation, offers, session
from tracker.ui.pages.new_visit.draft_state import _Smalls
from tracker.ui.pages.new_visit.gone import _Seen
from tracker.ui.parts.client_care import _Opened
from tracker.ui.parts.held import ANYBODY, key_of
from tracker.ui.parts.offer import _Place
from tracker.ui.parts.words import plain
from tracker.workflow.export import export_everything

pytest_plugins = ("test_pages_harness",)

AGREED = {MEASURING: True, PORTFOLIO: True}


@pytest.mark.parametrize("name", ["data", "bring_in", "merge"])
@pytest.mark.usefixtures("store")
def test_the_pages_open_on_an_empty_studio(name: str) -> None:
    test = open_page(name)
    assert_no_failure(test)
    assert test.title


@pytest.mark.parametrize("name", ["data", "bring_in", "merge"])
@pytest.mark.usefixtures("filled")
def test_the_pages_open_on_a_filled_studio(name: str) -> None:
    assert_no_failure(open_page(name))


@pytest.mark.parametrize("other", ["", "0" * 32])
def test_merging_with_nobody_is_a_sentence(filled: Filled, other: str) -> None:
    test = open_page("merge", client=filled.client.id, other=other)
    assert_no_failure(test)
    assert "There is no such client" in words(test) or not other


def test_two_records_are_merged_after_a_yes(filled: Filled) -> None:
    twin = workflow.add_client(filled.store, NASTY[1], "twin", {MEASURING: True, PORTFOLIO: False}, "me")
    offered = open_page("merge", client=filled.client.id)
    offered.text_input(key="find-other").set_value("img").run()
    assert_no_failure(offered)
    assert plain(NASTY[1]) not in [title.value for title in offered.title]
    test = open_page("merge", client=filled.client.id, other=twin.id)
    assert_no_failure(test)
    assert "one record says yes, the other no" in words(test)
    assert test.button(key="merge").disabled
    test.checkbox(key="merge-sure").check().run()
    test.button(key="merge").click().run()
    assert "It is not noted who confirms" in words(test)
    test.text_input(key="merge-by").set_value("me").run()
    test.button(key="merge").click().run()
    assert_no_failure(test)
    assert test.session_state["page-shown"] == "client"
    assert plain("Ask the client again about: portfolio.") in words(test)
    kept = filled.store.clients.get(filled.client.id)
    assert kept.note.splitlines() == ["likes cool tones", f"Also noted as {NASTY[1]}.", "twin"]
    assert not filled.store.consents.given(filled.client.id, PORTFOLIO)


def test_a_deleted_visit_comes_back_with_one_click(filled: Filled) -> None:
    test = open_page("compare", visit=filled.visit.id)
    test.checkbox(key=f"sure-{filled.visit.id}").check().run()
    test.button(key=f"delete-{filled.visit.id}").click().run()
    assert_no_failure(test)
    assert filled.store.visits.of_client(filled.client.id) == []
    assert "is deleted" in words(test)
    test.button(key="undo").click().run()
    assert_no_failure(test)
    assert [visit.id for visit in filled.store.visits.of_client(filled.client.id)] == [filled.visit.id]
    assert "It is back, as it was" in words(test)
    assert not [button for button in test.button if button.key == "undo"]


def test_after_an_erasure_there_is_nothing_to_take_back(filled: Filled) -> None:
    photo = filled.store.photos.find(filled.client.id, role="progress")[0]
    test = open_page("client", client=filled.client.id)
    test.button(key=f"delete-{photo.id}").click().run()
    assert [button for button in test.button if button.key == "undo"]
    test.text_input(key="erase-name").set_value("Ada").run()
    test.button(key="erase").click().run()
    assert_no_failure(test)
    assert "Erased on" in words(test)
    assert not [button for button in test.button if button.key == "undo"]


def test_another_window_lets_go_of_the_erased_client_and_of_nothing_else(filled: Filled) -> None:
    script = Path(navigation.__file__).parent / "start" / "script.py"
    test = AppTest.from_file(str(script), default_timeout=60).run()
    of_the_erased = (
        key_of(_Opened, filled.client.id),
        key_of(_Seen, filled.draft_id),
        key_of(_Smalls, ANYBODY),
        f"edit-note-{filled.client.id}",
    )
    of_others = (key_of(_Opened, filled.nobody.id), "waste")
    for key in (*of_the_erased, *of_others):
        test.session_state[key] = "words"
    test.session_state["find-client"] = "Ada"
    test.run()
    assert_no_failure(test)
    assert test.session_state[of_the_erased[0]] == "words"
    offers.offer("a-chart", offers.Offer(lambda: b"drawn before", "wear.svg", "image/svg+xml"))
    erasing = open_page("client", client=filled.client.id)
    erasing.text_input(key="erase-name").set_value("Ada").run()
    erasing.button(key="erase").click().run()
    with pytest.raises(NotFound):
        offers.offered("a-chart")
    test.run()
    assert_no_failure(test)
    assert not [key for key in of_the_erased if key in test.session_state]
    assert {key: test.session_state[key] for key in of_others} == dict.fromkeys(of_others, "words")
    assert test.session_state["find-client"] == ""


@pytest.mark.parametrize("half_way", [False, True])
def test_an_erasure_that_fails_tells_the_windows_only_where_the_record_is_gone(
    filled: Filled, monkeypatch: pytest.MonkeyPatch, half_way: bool
) -> None:
    whole = Erasures.erase

    def erase(erasures: Erasures, client_id: str) -> None:
        if half_way:
            whole(erasures, client_id)
        raise StoreError("The disk is full.", "Make room.")

    monkeypatch.setattr(Erasures, "erase", erase)
    before = erasures.latest()
    test = open_page("client", client=filled.client.id)
    test.text_input(key="erase-name").set_value("Ada").run()
    test.button(key="erase").click().run()
    assert "The disk is full." in words(test)
    assert erasures.latest() - before == half_way


def test_one_record_is_handed_out(filled: Filled) -> None:
    test = open_page("client", client=filled.client.id)
    test.button(key="export-client").click().run()
    assert_no_failure(test)
    assert "Ready: 1 visit and 4 photos" in words(test)
    file = offers.offered(test.session_state[key_of(_Place, f"export-{filled.client.id}")].token)
    assert (file.name[-4:], file.mime) == (".zip", "application/zip")
    names = zipfile.ZipFile(io.BytesIO(file.make())).namelist()
    assert {"record.html", "record.json", "read-me.txt", "tables/visit.csv"} <= set(names)


def test_everything_is_taken_out_and_removed_again(filled: Filled) -> None:
    test = open_page("data")
    test.button(key="export-all").click().run()
    assert_no_failure(test)
    assert "2 clients, 1 visit and 4 photos are written" in words(test)
    [export] = filled.store.exports.all()
    assert str(export.folder) in words(test)
    test.button(key="export-remove").click().run()
    assert_no_failure(test)
    assert filled.store.exports.all() == []


def test_backups_are_made_checked_and_brought_back(filled: Filled, tmp_path: Path) -> None:
    test = open_page("data")
    assert "No backup yet" in words(test)
    assert "within an hour" in words(test)
    test.button(key="backup").click().run()
    assert_no_failure(test)
    assert "complete and checked" in words(test)
    test = open_page("data")
    assert "Last backup:" in words(test)
    test.button(key="backup-check").click().run()
    assert_no_failure(test)
    assert "are just as they were written" in words(test)
    test.text_input(key="restore-folder").set_value(str(tmp_path / "again")).run()
    test.button(key="restore").click().run()
    assert_no_failure(test)
    assert "2 clients, 1 visit and 4 photos are in the folder" in words(test)
    assert f"TRACKER_HOME={tmp_path / 'again'}" in words(test)
    with Store(tmp_path / "again") as restored:
        assert restored.visits.get(filled.visit.id) == filled.visit
    test.text_input(key="restore-folder").set_value(str(tmp_path / "studio")).run()
    test.button(key="restore").click().run()
    assert_no_failure(test)
    assert "is not empty" in words(test)


def test_an_old_backup_is_said(filled: Filled, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tracker.ui.parts.backups_view.days_since_backup", lambda _backups: 9)
    filled.store.backups.make()
    for name in ("studio", "data"):
        assert "The last backup is 9 days old" in words(open_page(name))


def test_the_day_begins_with_a_backup(filled: Filled, caplog: pytest.LogCaptureFixture) -> None:
    daily.back_up_today()
    daily.back_up_today()
    assert len(filled.store.backups.shelf.backups()) == 1
    photo = filled.store.photos.find(filled.client.id)[0]
    for backup in filled.store.backups.shelf.backups():
        backup.folder.rename(backup.folder.with_name("elsewhere"))
    filled.store.pictures.path(photo.file).write_bytes(b"altered")
    daily.back_up_today()
    assert "store_damaged" in caplog.text
    assert len(filled.store.backups.shelf.backups()) == 1


TABLES = ("client", "visit", "visit_steps")
LIST = "name,note,phone\nBea,=1+1,5\nAda,twice,6\n<b>,x,7\n"


def test_a_list_is_looked_at_before_it_is_brought_in(filled: Filled) -> None:
    test = open_page("bring_in")
    test.file_uploader(key="list-0").set_value([("clients.csv", LIST.encode(), "text/csv")]).run()
    assert_no_failure(test)
    said = words(test)
    assert "2 clients to add" in said
    assert "1 line left out" in said
    assert plain("A client named Ada is already here.") in said
    assert "phone" in said
    assert plain("<b>") in said
    assert len(filled.store.clients.summaries()) == 2
    test.button(key="bring-in").click().run()
    assert_no_failure(test)
    assert {"Bea", "<b>"} <= {summary.client.name for summary in filled.store.clients.summaries()}
    assert plain("2 clients added. 1 line left out.") in words(test)
    [bea] = filled.store.clients.summaries("bea")
    assert "No photo may be taken" in words(open_page("client", client=bea.client.id))


@pytest.mark.parametrize("order", ["day first: 3 April", "month first: 4 March"])
def test_unclear_dates_are_asked_for(filled: Filled, order: str) -> None:
    test = open_page("bring_in")
    content = b"client;date;services\nAda;03/04/2025;toner, cut\n"
    test.file_uploader(key="list-0").set_value([("visits.csv", content, "text/csv")]).run()
    assert not [button for button in test.button if button.key == "bring-in"]
    test.radio(key="day-order").set_value(order).run()
    assert_no_failure(test)
    assert order.partition(": ")[2] in words(test)
    test.button(key="bring-in").click().run()
    assert_no_failure(test)
    on = date(2025, 4, 3) if order.startswith("day") else date(2025, 3, 4)
    assert on in {visit.on for visit in filled.store.visits.of_client(filled.client.id)}


def test_a_list_in_another_coding_is_read_and_that_is_said(filled: Filled) -> None:
    test = open_page("bring_in")
    test.file_uploader(key="list-0").set_value([("list.csv", "name\nZoë".encode("cp1252"), "text/csv")]).run()
    assert_no_failure(test)
    assert "it was read as Windows-1252" in words(test)
    test.button(key="bring-in").click().run()
    assert "Zoë" in {summary.client.name for summary in filled.store.clients.summaries()}


def test_a_list_that_cannot_be_read_is_a_sentence(filled: Filled) -> None:
    test = open_page("bring_in")
    test.file_uploader(key="list-0").set_value([("list.csv", b"name\nZo\x81", "text/csv")]).run()
    assert_no_failure(test)
    assert "line 2 has one in an unknown encoding" in words(test)
    assert len(filled.store.clients.summaries()) == 2


def test_tables_of_an_export_are_brought_in_together(
    filled: Filled, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = export_everything(filled.store)[0] / "studio" / "tables"
    files = [(f"{name}.csv", (folder / f"{name}.csv").read_bytes(), "text/csv") for name in TABLES]
    session.close_stores()
    monkeypatch.setenv("TRACKER_HOME", str(tmp_path / "another"))
    test = open_page("bring_in")
    test.file_uploader(key="list-0").set_value(files).run()
    assert_no_failure(test)
    said = words(test)
    assert "2 clients to add" in said
    assert "1 visit to add" in said
    assert "Tables do not bring in agreements or photos" in said
    test.button(key="bring-in").click().run()
    assert_no_failure(test)
    store = session.open_store()
    assert store.clients.get(filled.client.id) == filled.client
    assert store.visits.of_client(filled.client.id) == [filled.visit]


# promise 35
def test_who_was_not_here_for_long_is_listed_and_stays(filled: Filled) -> None:
    test = open_page("data")
    assert "Everybody has been here within this time" in words(test)
    old = workflow.add_client(filled.store, "Old", "", AGREED, "me")
    from tracker.record.records import Visit, now

    on = date.today() - timedelta(days=800)
    filled.store.visits.save(Visit(new_id(), old.id, on, (), (), "", "", now()), [])
    test = open_page("data")
    assert "1 client" in words(test)
    assert "last seen 2 years ago" in words(test)
    test.number_input(key="absent-months").set_value(36).run()
    assert "Everybody has been here within this time" in words(test)
    assert len(filled.store.clients.summaries()) == 3


# promise 27
def test_a_risky_place_is_said(filled: Filled, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("studio", "data"):
        assert "seems to" not in words(open_page(name))
    monkeypatch.setattr("tracker.ui.parts.place_view.place_risk", lambda _folder: "network")
    for name in ("studio", "data"):
        assert "seems to be on another computer" in words(open_page(name))
    assert filled.client


def test_receipts_say_how_much_and_not_whom(filled: Filled) -> None:
    filled.store.erasures.erase(filled.client.id)
    said = words(open_page("data"))
    assert "1 visit, 4 photos, 4 picture files and 1 unfinished draft" in said
    assert "Ada" not in said
