"""A disk that is full to the last byte: what must still work on it, tried on a small file system of its own."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from conftest import MadeOnce

_MUST = bool(os.environ.get("CI")) and sys.platform == "linux" and os.geteuid() == 0
_OWN_MOUNTS = (["unshare", "--mount"], ["unshare", "--map-root-user", "--mount"])
_MOUNT_EACH_AND_RUN = """
for disk in "$0"/disk/*; do mount -t tmpfs -o size=192m,mode=700 tmpfs "$disk" || exit; done
exec "$@"
"""


def _mounting() -> list[str] | None:
    """How a program gets mounts of its own here, which end with it; None where the system allows none."""
    if sys.platform != "linux" or shutil.which("unshare") is None:
        return None
    for command in _OWN_MOUNTS:
        tried = [*command, "mount", "-t", "tmpfs", "-o", "size=4k", "tmpfs", "/mnt"]
        if subprocess.run(tried, capture_output=True, check=False).returncode == 0:
            return command
    return None


@pytest.fixture(scope="module")
def mounting() -> list[str]:
    found = _mounting()
    if found is None and not _MUST:
        pytest.skip("this system lets no test mount a small disk")
    assert found is not None, "root on Linux in CI must be able to mount a small disk"
    return found


QUICK = ("closed_studio", "no_reserve", "many_words", "filled_meanwhile", "pictures_first")
Found = dict[str, Any]
OnFullDisk = Callable[[str], Found]


def on_full_disks(jobs: Sequence[str], mounting: list[str], folder: Path) -> dict[str, Found]:
    """What jobs of `full_disk.py` found, each on a disk of its own."""
    for part in ("disk", "other"):
        for job in jobs:
            (folder / part / job).mkdir(parents=True)
    (folder / "found").mkdir()
    here = Path(__file__).parent
    script = [sys.executable, here / "full_disk.py", folder, *jobs]
    done = subprocess.run(
        [*mounting, "sh", "-c", _MOUNT_EACH_AND_RUN, folder, *script],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(here.parent), str(here)])},
    )
    assert done.returncode == 0, done.stderr
    return {job: json.loads((folder / "found" / job).read_text()) for job in jobs}


@pytest.fixture
def on_full_disk(mounting: list[str], made_once: MadeOnce, tmp_path: Path) -> OnFullDisk:
    """Gives what a quick job found; all of them run in one program, which takes longer to start than to run one."""

    def build(folder: Path) -> dict[str, Found]:
        return on_full_disks(QUICK, mounting, folder)

    every: dict[str, Found] = made_once.copy("full-disks", build, tmp_path / "full-disks")

    def found(job: str) -> Found:
        assert "failed with" not in every[job], every[job]["failed with"]
        return every[job]

    return found


# promises 10, 31 and 33
def test_a_full_disk_still_allows_to_look_to_hand_out_and_to_erase(on_full_disk: OnFullDisk) -> None:
    found = on_full_disk("closed_studio")
    assert found["before"]["tokens"] != []
    assert (found["before"]["clients"], found["before"]["photos"], found["before"]["erased"]) == (21, 41, 0)
    assert found["handed out"] > 10
    assert found["taken out"] == 21
    assert found["refused"] == "The disk is full."
    assert found["after"] == {"tokens": [], "clients": 20, "photos": 40, "erased": 1}
    assert found["files"] == 2
    assert found["finished"]
    assert found["reserve"] == 16 * 1024**2


def test_where_nothing_was_kept_back_it_is_told_and_nothing_changes(on_full_disk: OnFullDisk) -> None:
    found = on_full_disk("no_reserve")
    assert found["told"] == "StoreFull: The disk is full."
    assert (found["after"]["clients"], found["after"]["photos"]) == (21, 41)


@pytest.mark.parametrize("job", ["many_words", "filled_meanwhile"])
def test_no_byte_is_left_where_the_file_cannot_be_written_once_more(on_full_disk: OnFullDisk, job: str) -> None:
    found = on_full_disk(job)
    assert found["after"] == found["then"] == {"tokens": [], "clients": 50, "photos": 40, "erased": 1}
    assert (found["finished"], found["then finished"]) == (False, True)


def test_pictures_make_room_for_the_words(on_full_disk: OnFullDisk) -> None:
    found = on_full_disk("pictures_first")
    assert (found["files"], found["left"], found["erased"]) == (2, 0, 1)
    assert found["then"] == {"tokens": [], "clients": 20, "photos": 40, "erased": 2}


def test_every_page_opens_on_a_full_disk(mounting: list[str], tmp_path: Path) -> None:
    found = on_full_disks(["pages"], mounting, tmp_path)["pages"]
    assert found["failed"] == []
    assert found["pages"] > 15
    assert any("No room is left" in each for each in found["today"])
    assert any("Everything can still be looked at" in each for each in found["data"])
