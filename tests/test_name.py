"""The program has one name, wherever a person reads it."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime
from pathlib import Path

from command_line import run

from tracker import NAME
from tracker.cli.command import PROGRAM
from tracker.show.calendar import calendar_text
from tracker.ui.navigation import tab_title

REPOSITORY = Path(__file__).parents[1]
OURS = "Measured hair"  # chosen for the program; written out here so that changing the constant shows


def test_the_places_agree() -> None:
    assert NAME == OURS
    assert (tab_title(""), tab_title("Clients")) == (OURS, f"Clients · {OURS}")
    assert (REPOSITORY / "README.md").read_text("utf-8").startswith(f"# {OURS}\n")
    assert run("--version")[1].startswith(f"{OURS} ")
    assert f"{OURS}: " in run("--help")[1]
    assert f"PRODID:-//{OURS}//" in calendar_text([], datetime(2026, 3, 1, tzinfo=UTC)).decode()


def test_the_command_and_what_is_installed_are_called_by_the_same_words() -> None:
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text("utf-8"))["project"]
    assert PROGRAM == project["name"] == OURS.lower().replace(" ", "-")
    assert list(project["scripts"]) == [PROGRAM]
