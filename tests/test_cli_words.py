"""What every command line has: a version, quiet, standard input, and words that the shell completes."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from command_line import Json, before, entry, require_refusal, run, write_marks

from tracker import METHOD_VERSION, NAME, __version__
from tracker.__main__ import main

TABLE = "months,value\n0,20\n1,22\n2,23\n4,24\n"


class Screen(io.StringIO):
    def isatty(self) -> bool:
        return True


def give(monkeypatch: pytest.MonkeyPatch, content: bytes) -> None:
    """Put this on standard input."""
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(content), "ascii"))


@pytest.fixture
def photo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Json:
    """A photo in the current folder, and its marks."""
    (tmp_path / "a.jpg").write_bytes(before())
    monkeypatch.chdir(tmp_path)
    return {"photos": [entry("a.jpg")]}


def test_the_version_is_the_program_s_and_the_method_s() -> None:
    assert run("--version") == (0, f"{NAME} {__version__}, measuring by method {METHOD_VERSION}\n", "")


def test_marks_come_on_standard_input_and_give_the_same_as_from_a_file(
    photo: Json, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    give(monkeypatch, json.dumps(photo).encode())
    status, out, err = run("measure", "-", "--out", "result.json", "--json")
    assert (status, err) == (0, "")
    assert json.loads(out) == json.loads(run("measure", write_marks(tmp_path, *photo["photos"]), "--json")[1])
    assert json.loads((tmp_path / "result.json").read_text("utf-8")) == json.loads(out)


def test_a_photo_is_not_overwritten_by_the_result_of_marks_on_standard_input(
    photo: Json, monkeypatch: pytest.MonkeyPatch
) -> None:
    give(monkeypatch, json.dumps(photo).encode())
    require_refusal(run("measure", "-", "--out", "a.jpg"), "store_error", "overwritten")


def test_one_result_comes_on_standard_input_and_not_two(
    photo: Json, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, out, _ = run("measure", write_marks(tmp_path, *photo["photos"]), "--out", "r.json", "--json")
    wanted = run("compare", "r.json", "r.json", "--json")
    for words in (("-", "r.json"), ("r.json", "-")):
        give(monkeypatch, out.encode())
        assert run("compare", *words, "--json") == wanted
    give(monkeypatch, out.encode())
    require_refusal(run("compare", "-", "-"), "cannot_compare", "one result, not two")


def test_a_table_comes_on_standard_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "table.csv").write_text(TABLE)
    give(monkeypatch, TABLE.encode())
    assert run("fade", "-", "--json") == run("fade", tmp_path / "table.csv", "--json")


@pytest.mark.parametrize(
    ("words", "code"),
    [(("measure", "-"), "invalid_marks"), (("fade", "-"), "invalid_series"), (("compare", "-", "r"), "cannot_compare")],
)
@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00"])
def test_what_cannot_be_read_is_said_of_standard_input(
    words: tuple[str, ...], code: str, content: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    give(monkeypatch, content)
    require_refusal(run(*words), code, *(["Standard input is not text"] if content else []))


def test_a_file_whose_name_is_a_dash_is_named_with_its_folder(
    photo: Json, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_marks(tmp_path, *photo["photos"]).rename(tmp_path / "-")
    give(monkeypatch, b"")
    assert run("measure", "./-")[0] == 0


@pytest.mark.parametrize(("words", "written"), [((), True), (("--quiet",), False)])
def test_quiet_shows_no_progress_on_a_terminal(
    words: tuple[str, ...], written: bool, photo: Json, monkeypatch: pytest.MonkeyPatch
) -> None:
    for command in ("measure", "fade"):
        give(monkeypatch, TABLE.encode() if command == "fade" else json.dumps(photo).encode())
        screen: Any = Screen()
        monkeypatch.setattr(sys, "stderr", screen)
        assert main([command, "-", *words]) == 0
        assert bool(screen.getvalue()) == written


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_script_for_the_shell_names_every_command(shell: str, tmp_path: Path) -> None:
    program = [sys.executable, "-m", "tracker"]
    printed = subprocess.run([*program, "completion", shell], capture_output=True, text=True, check=True)
    assert printed.stderr == ""
    for word in ("measured-hair", "open", "measure", "check-backup", "no-browser", "quiet", "above"):
        assert word in printed.stdout
    if shutil.which(shell):
        (tmp_path / "script").write_text(printed.stdout)
        subprocess.run([shell, "-n", tmp_path / "script"], check=True)


@pytest.mark.skipif(shutil.which("bash") is None, reason="there is no bash on this computer")
@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("mea", {"measure"}),
        ("check", {"check-backup"}),
        ("open --no", {"--no-browser"}),
        ("measure mar", {"marks.json"}),
        ("completion ", {"bash", "zsh", "fish"}),
    ],
)
def test_bash_completes_what_is_typed(typed: str, offered: set[str], tmp_path: Path) -> None:
    printed = subprocess.run(
        [sys.executable, "-m", "tracker", "completion", "bash"], capture_output=True, text=True, check=True
    )
    (tmp_path / "script").write_text(printed.stdout)
    (tmp_path / "marks.json").touch()
    words = ["measured-hair", *typed.split(" ")]
    # what bash does when the tab key is pressed (bash's manual, "Programmable Completion")
    program = """
    source ./script
    COMP_WORDS=("$@") COMP_CWORD=$(($# - 1))
    complete -p measured-hair | { read -r _ _ _ _ function _; echo "$function"; } > function
    "$(cat function)" "$1" "${!#}"
    printf '%s\\n' "${COMPREPLY[@]}"
    """
    done = subprocess.run(
        ["bash", "-c", program, "bash", *words], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert {line.strip() for line in done.stdout.splitlines()} == offered
