"""Importing the package costs next to nothing: heavy libraries come in where they are used."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = {
    *("PIL", "altair", "colour", "cv2", "icalendar", "numpy", "pandas", "pydantic", "scipy", "skimage", "sqlalchemy"),
    "streamlit",
}
LOADED = "import sys; print(*sorted({name.split('.')[0] for name in sys.modules}))"


def loaded_by(statement: str) -> set[str]:
    """Top names of all modules that a fresh interpreter holds after a statement."""
    command = [sys.executable, "-c", f"{statement}; {LOADED}"]
    return set(subprocess.run(command, capture_output=True, text=True, check=True).stdout.split())


@pytest.mark.parametrize("module", ["tracker", "tracker.cli", "tracker.__main__", "tracker.errors"])
def test_the_doorways_are_light(module: str) -> None:
    assert not loaded_by(f"import {module}") & HEAVY


@pytest.mark.parametrize("command", ["measuring", "comparing", "fading"])
def test_a_command_loads_neither_screen_nor_database(command: str) -> None:
    assert not loaded_by(f"import tracker.cli.{command}") & {
        *("altair", "colour", "icalendar", "pandas", "skimage", "sqlalchemy", "streamlit")
    }


def test_what_is_loaded_is_seen() -> None:
    assert "numpy" in loaded_by("import tracker.maths.colorimetry")
