"""The lock file names what pyproject.toml allows, each file by its hash, and CI says whether it was looked up."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

REPOSITORY = Path(__file__).parents[1]
LOCK = (REPOSITORY / "requirements.lock").read_text("utf-8")
PROJECT = tomllib.loads((REPOSITORY / "pyproject.toml").read_text("utf-8"))["project"]
WANTED = [
    Requirement(line)
    for lines in (PROJECT["dependencies"], *PROJECT["optional-dependencies"].values())
    for line in lines
]

# one requirement over several lines, as pip reads them
ENTRIES = [entry for entry in re.sub(r"\s*\\\n\s*", " ", re.sub(r"(?m)^\s*#.*$", "", LOCK)).splitlines() if entry]


def locked(entry: str) -> tuple[str, str]:
    """Name and version of an entry."""
    found = re.match(r"([A-Za-z0-9._-]+)==([^ ;]+)", entry)
    assert found is not None, entry
    return canonicalize_name(found[1]), found[2]


@pytest.mark.parametrize("wanted", WANTED, ids=str)
def test_what_the_project_asks_for_is_locked_within_its_bounds(wanted: Requirement) -> None:
    versions = [version for name, version in map(locked, ENTRIES) if name == canonicalize_name(wanted.name)]
    assert versions
    assert all(wanted.specifier.contains(version) for version in versions)


def test_every_locked_entry_has_one_version_and_hashes_and_comes_from_nowhere_in_particular() -> None:
    assert len(ENTRIES) > len(WANTED)
    for entry in ENTRIES:
        locked(entry)
        assert re.search(r" --hash=sha256:[0-9a-f]{64}( |$)", entry), entry
    assert "://" not in LOCK
    assert not re.search(r"(?m)^\s*(-|.*--(index|extra|find|trusted))", re.sub(r"--hash=\S+", "", LOCK))


def test_what_is_locked_for_one_system_only_is_marked_so() -> None:
    # colorama colours the terminals of Windows and nothing else; watchdog looks at folders where macOS does it itself
    marks = {locked(entry)[0]: entry.partition(";")[2].split("--hash")[0].strip() for entry in ENTRIES}
    assert marks["colorama"] == "sys_platform == 'win32'"
    assert marks["watchdog"] == "sys_platform != 'darwin'"


# the audit

SOUND = {"name": "a", "version": "1", "vulns": []}
SKIPPED = {"name": "b", "skip_reason": "Dependency not found"}
KNOWN = {"name": "c", "version": "2", "vulns": [{"id": "PYSEC-1", "fix_versions": ["3"]}]}


def audit(tmp_path: Path, body: str) -> subprocess.CompletedProcess[str]:
    """Run the step of CI with a stand-in for the program that looks up."""
    program = tmp_path / "looks-up"
    program.write_text(f"#!{sys.executable}\nimport sys, time\n{body}\n", "utf-8")
    program.chmod(0o700)
    return subprocess.run(
        [sys.executable, str(REPOSITORY / ".ci" / "audit"), str(program)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env={**os.environ, "AUDIT_SECONDS": "3"},
    )


@pytest.mark.skipif(os.name == "nt", reason="the stand-in is a script that only systems with a shebang start")
@pytest.mark.parametrize(
    ("packages", "code", "says"),
    [
        ([SOUND, SOUND], 0, "2 of 2 packages looked up"),
        ([SOUND, SKIPPED], 0, "1 of 2 packages looked up"),
        ([SOUND, KNOWN], 1, "c 2: PYSEC-1, mended in 3"),
        ([SKIPPED, SKIPPED], 0, "No audit: the vulnerability data could not be reached"),
    ],
)
def test_a_known_vulnerability_fails_and_no_data_is_said(
    tmp_path: Path, packages: list[dict[str, object]], code: int, says: str
) -> None:
    done = audit(tmp_path, f"print({json.dumps({'dependencies': packages})!r}); sys.exit({code})")
    assert (done.returncode, says in done.stdout) == (code, True), done


@pytest.mark.skipif(os.name == "nt", reason="the stand-in is a script that only systems with a shebang start")
@pytest.mark.parametrize(
    ("body", "code", "says"),
    [
        ("time.sleep(30)", 0, "No audit: the vulnerability data could not be reached"),
        ("sys.exit('Max retries exceeded: failed to resolve the name')", 0, "No audit: "),
        ("sys.exit('the file of requirements is broken')", 1, "is broken"),
    ],
)
def test_a_look_up_that_fails_is_not_passed_over_unless_it_is_the_network(
    tmp_path: Path, body: str, code: int, says: str
) -> None:
    done = audit(tmp_path, body)
    assert (done.returncode, says in done.stdout + done.stderr) == (code, True), done


@pytest.mark.parametrize("name", [Requirement(line).name for line in PROJECT["dependencies"]])
def test_the_developers_page_says_what_each_library_is_for_and_what_it_costs(name: str) -> None:
    page = (REPOSITORY / "DEVELOPERS.md").read_text("utf-8")
    assert re.search(rf"(?m)^\| {re.escape(name)} \| [^|]{{10,}} \| [\d.]+ \| [\d.]+ \|$", page)
