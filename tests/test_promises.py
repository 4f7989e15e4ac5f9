"""The table of promises in DEVELOPERS.md: every test that it names is there, and every row names one."""

from __future__ import annotations

import ast
import re
from dataclasses import fields
from functools import cache
from pathlib import Path

import pytest

from tracker.record.records import Client

TESTS = Path(__file__).parent
REPOSITORY = TESTS.parent
TITLE = "## What is promised, and which test shows it"


def rows(text: str) -> dict[int, str]:
    """Number of each row of the table to what it says is shown by."""
    section = text.partition(TITLE)[2].partition("\n## ")[0]
    cells = [line.strip("| ").split(" | ") for line in section.splitlines() if re.match(r"\| \d+ ", line)]
    return {int(number): shown for number, _, shown in cells}


ROWS = rows((REPOSITORY / "DEVELOPERS.md").read_text("utf-8"))


@cache
def names_in(path: Path) -> set[str]:
    """Names of the tests of a file, and of its classes of tests."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            found.add(node.name)
        elif isinstance(node, ast.Assign):  # a machine of states becomes a test under the name that it is given
            found.update(target.id for target in node.targets if isinstance(target, ast.Name))
    return {name for name in found if name.lower().startswith("test")}


@pytest.mark.parametrize(("row", "shown"), ROWS.items())
def test_every_promise_names_a_test_that_is_there(row: int, shown: str) -> None:
    named = re.findall(r"`([\w/]+\.py)::(\w+)`", shown)
    assert named, row
    assert [f"{file}::{test}" for file, test in named if test not in names_in(TESTS / file)] == []


def test_the_table_is_read_whole() -> None:
    assert list(ROWS) == list(range(1, len(ROWS) + 1))
    assert len(ROWS) > 37
    assert rows(f"{TITLE}\n\n| # | rule | by |\n|---|---|---|\n| 1 | a | `test_x.py::test_y` |\n") == {
        1: "`test_x.py::test_y`"
    }


def test_promises_that_tests_speak_of_are_in_the_table() -> None:
    for file in sorted(TESTS.rglob("*.py")):
        for numbers in re.findall(r"[Pp]romises? ((?:\d+(?:, | and | to )?)+)", file.read_text("utf-8")):
            assert {int(number) for number in re.findall(r"\d+", numbers)} <= set(ROWS), file


def test_no_face_is_looked_for_and_no_more_is_asked() -> None:
    code = "\n".join(file.read_text("utf-8") for file in (REPOSITORY / "tracker").rglob("*.py"))
    assert re.findall(r"FaceDetector\w*|FaceRecognizer\w*|CascadeClassifier|face_recognition|landmark", code) == []
    # no birthday, address, sex or anything else about a person; a contact is noted only where somebody types one
    assert {field.name for field in fields(Client)} == {"id", "name", "note", "contact", "created_at", "demo"}
