"""The mark beside the database: which studio this is, and how often something was saved.

It is written after each commit and never before, so a healthy database is never behind it, however the program dies;
two programs saving at once can at most leave it behind the database.
"""

from __future__ import annotations

import json
import os
import threading
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from tracker.errors import StoreError
from tracker.store.faults import disk_faults
from tracker.store.folder import private_file, sync_folder

LENGTH = 128
"""Always this many bytes: written in place, within one sector of any disk, a mark is never half there or empty."""


@dataclass(frozen=True, slots=True)
class Mark:
    """What is noted.

    Attributes
    ----------
    studio : str, identifier
    saves : int, how often something was saved
    """

    studio: str
    saves: int


class MarkFile:
    """The file that holds the mark.

    Parameters
    ----------
    path : Path
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._written = -1
        self._one_at_a_time = threading.Lock()

    def write(self, mark: Mark) -> None:
        """Write the mark safely to the disk; a new file gets its name only once it is whole.

        Raises
        ------
        StoreFull, StoreError : the disk refuses it
        """
        with self._one_at_a_time, disk_faults("The studio's mark could not be written"):
            if self._length() == LENGTH:
                _overwrite(self._path, mark, settle=True)
            else:
                self._make(mark)
            self._written = mark.saves

    def follow(self, mark: Mark) -> None:
        """Note a save already made. A refusal by the disk is ignored: a mark that is behind does no harm."""
        with self._one_at_a_time, suppress(OSError, StoreError):
            if mark.saves <= self._written:  # another thread's later save is already noted
                return
            if self._length() == LENGTH:
                _overwrite(self._path, mark, settle=False)
            else:  # somebody took it away
                self._make(mark)
            self._written = mark.saves

    def _length(self) -> int:
        return self._path.stat().st_size if self._path.is_file() else 0

    def _make(self, mark: Mark) -> None:
        growing = private_file(self._path.with_name(f"{self._path.name}.tmp"))
        _overwrite(growing, mark, settle=True)
        growing.replace(self._path)
        sync_folder(self._path.parent)


def read_mark(path: Path) -> Mark | None:
    """The mark that is there; None if there is none.

    Raises
    ------
    ValueError : there is one, but not whole
    OSError : it cannot be read
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        return None
    found = json.loads(raw.decode("utf-8"))
    if len(raw) != LENGTH or not isinstance(found, dict):
        raise ValueError("not a mark")
    studio, saves = found.get("studio"), found.get("saves")
    if not isinstance(studio, str) or not studio or type(saves) is not int or saves < 0:
        raise ValueError("not a mark")
    return Mark(studio, saves)


def _overwrite(path: Path, mark: Mark, *, settle: bool) -> None:
    text = json.dumps({"studio": mark.studio, "saves": mark.saves})
    descriptor = os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
    try:
        os.write(descriptor, f"{text:<{LENGTH - 1}}\n".encode())
        if settle:
            os.fsync(descriptor)
    finally:
        os.close(descriptor)
