"""What the pages say of the room that is left, of the limit, and of backups dated in the future."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from test_pages_harness import Filled, assert_no_failure, open_page, words

from tracker.record.records import now
from tracker.store import NEARLY_FULL_VISITS, backup, disk_room
from tracker.store.room import GUESSED_VISIT_BYTES
from tracker.store.settings_file import FileSettings, read_settings
from tracker.ui.parts.words import plain

pytest_plugins = ("test_pages_harness",)


def fits(monkeypatch: pytest.MonkeyPatch, visits: int) -> None:
    """Let the disk have room for so many visits, and as much again for their backups."""
    monkeypatch.setattr(disk_room, "free_to_keep", lambda _layout: 2 * visits * GUESSED_VISIT_BYTES)


@pytest.mark.parametrize(
    ("visits", "told"),
    [
        (NEARLY_FULL_VISITS, ""),
        (NEARLY_FULL_VISITS - 1, "Room for about 29 more visits."),
        (1, "Room for about 1 more visit."),
        (0, "No room is left for the photos of another visit."),
    ],
)
@pytest.mark.usefixtures("filled")
def test_today_says_in_time_that_room_runs_out(monkeypatch: pytest.MonkeyPatch, visits: int, told: str) -> None:
    fits(monkeypatch, visits)
    test = open_page("today")
    assert_no_failure(test)
    warned = [each.value for each in test.warning]
    assert [each for each in warned if "oom" in each] == ([f"{told} {warned[0][len(told) + 1 :]}"] if told else [])
    assert not told or "half of it for the backups" in warned[0]


@pytest.mark.usefixtures("filled")
def test_my_data_says_what_is_used_what_is_allowed_and_what_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    fits(monkeypatch, 500)
    said = words(open_page("data"))
    assert "Room for about 500 more visits." in said
    assert "This assumes 20.0 MB a visit" in said
    assert "what is used and half of what is free" in said
    assert "20.0 GB free on the disk" in said


def test_the_limit_is_set_on_the_page_and_in_the_file(filled: Filled) -> None:
    path = filled.store.root / "settings.toml"
    test = open_page("data")
    test.radio(key="limit-kind").set_value("A limit of my own")
    test.number_input(key="limit-gb").set_value(0.1)
    next(button for button in test.button if button.label == "Save the limit").click().run()
    assert_no_failure(test)
    assert plain("The limit is saved.") in words(test)
    assert read_settings(path) == FileSettings(10**8)
    assert "of the 100.0 MB that you allow" in words(test)
    assert "Room for about 4 more visits." in words(test)
    path.write_text("limit_gb = 50\n", "utf-8")
    test = open_page("data")
    assert "of the 50.0 GB that you allow" in words(test)
    assert test.number_input(key="limit-gb").value == 50.0
    test.radio(key="limit-kind").set_value("What they already take and half of what is free")
    next(button for button in test.button if button.label == "Save the limit").click().run()
    assert read_settings(path) == FileSettings()


def test_a_damaged_file_of_settings_is_told(filled: Filled) -> None:
    (filled.store.root / "settings.toml").write_text("limit_gb = lots", "utf-8")
    test = open_page("data")
    assert_no_failure(test)
    assert "usual limit applies" in words(test)
    assert "what is used and half of what is free" in words(test)


def test_everything_is_taken_out_to_another_disk(filled: Filled, tmp_path: Path) -> None:
    test = open_page("data")
    test.text_input(key="export-folder").set_value(str(tmp_path / "other disk")).run()
    test.button(key="export-all").click().run()
    assert_no_failure(test)
    [written] = (tmp_path / "other disk").iterdir()
    assert (written / "read-me.txt").exists()
    assert str(written) in words(test)
    assert "erasing a client does not reach it" in words(test)
    assert filled.store.exports.all() == []
    test.text_input(key="export-folder").set_value(str(filled.store.root / "inside")).run()
    test.button(key="export-all").click().run()
    assert "cannot be inside the studio" in words(test)


def test_a_backup_dated_in_the_future_is_called_that(filled: Filled, monkeypatch: pytest.MonkeyPatch) -> None:
    ahead = now() + timedelta(days=400)
    with monkeypatch.context() as patched:
        patched.setattr(backup, "now", lambda: ahead)
        filled.store.backups.make()
    for name in ("data", "studio"):
        test = open_page(name)
        assert_no_failure(test)
        assert "dated in the future: the clock was ahead, or is behind now" in words(test)
    options = open_page("data").selectbox(key="backup-chosen").options
    assert "dated in the future" in options[0]
    filled.store.backups.make()
    assert "**Last backup:** today at" in words(open_page("data"))
