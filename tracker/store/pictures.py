"""The kept pictures: files named by the SHA-256 of their content."""

from __future__ import annotations

import hashlib
import os
import re
import threading
import time
from collections.abc import Collection, Iterator
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

from tracker.errors import NotFound, StoreDamaged, StoreError, StoreFull
from tracker.store.faults import disk_faults
from tracker.store.folder import bytes_in, move_file, private_file, private_folder, sync_folder

_NAME = re.compile(r"[0-9a-f]{64}")
_MEGABYTE = 1024**2


class Pictures:
    """Pictures in ``ab/<sha>.jpg`` below a folder, where ``ab`` are the first letters of the name.

    Parameters
    ----------
    folder : Path, made if it is not there
    within : Path, the folder that the quota counts
    quota_bytes : int, the most bytes that `within` may hold
    """

    def __init__(self, folder: Path, within: Path, quota_bytes: int) -> None:
        self._folder = private_folder(folder)
        self._within = within
        self._quota_bytes = quota_bytes
        self._one_at_a_time = threading.Lock()  # two at once could both fit the quota, but not together

    def put(self, content: bytes) -> str:
        """Keep a picture. It is safely on the disk, and whole, before its name exists.

        Parameters
        ----------
        content : bytes of a JPEG

        Returns
        -------
        str : SHA-256 of the content, the picture's name; the same content is kept once

        Raises
        ------
        StoreFull : over the quota, or no room on the disk
        StoreError : the disk refuses it
        """
        name = hashlib.sha256(content).hexdigest()
        path = self._place(name)
        with self._one_at_a_time, disk_faults("The photo could not be kept"):
            if _holds(path, name):
                path.touch()  # in hand again: no sweep may take it for one that was left
            else:
                self._check_quota(len(content))
                self._write(path, content)
        return name

    def share(self, name: str, other: Pictures) -> bool:
        """Let a picture of another folder be here too without a second copy; its content is not checked.

        Returns
        -------
        bool : False where it is not there, or the disk cannot do that
        """
        try:
            place = self._place(name)
            private_folder(place.parent)
            os.link(other.path(name), place)
        except (OSError, NotFound):
            return False
        return True

    def get(self, name: str) -> bytes:
        """Content of a picture, checked against its name.

        Raises
        ------
        NotFound : there is no such picture
        StoreDamaged : its content is not what was kept
        """
        with disk_faults("The photo could not be read"):
            content = self.path(name).read_bytes()
        if hashlib.sha256(content).hexdigest() != name:
            raise StoreDamaged(
                f"The photo file {name[:12]} is not what was kept: its content changed.",
                "Take it from a backup, or take the photo again.",
            )
        return content

    def is_whole(self, name: str) -> bool:
        """True where a picture is there, can be read, and its content is what was kept."""
        try:
            self.get(name)
        except StoreError:
            return False
        return True

    def path(self, name: str) -> Path:
        """Where a picture lies.

        Raises
        ------
        NotFound : there is no such picture, or the name is no SHA-256 in hexadecimal
        """
        path = self._place(name)
        if not self.is_there(name):
            raise NotFound(f"The photo file {name[:12]} is not there.", "Take it from a backup, or take it again.")
        return path

    def is_there(self, name: str) -> bool:
        """True where there is such a picture; its content is not checked."""
        return self._place(name).is_file()

    def remove(self, name: str) -> None:
        """Remove a picture; nothing where it is gone already."""
        path = self._place(name)
        with disk_faults("The photo could not be removed"):
            if path.exists():
                path.unlink()
                sync_folder(path.parent)

    def names(self) -> Iterator[str]:
        """Names of all pictures."""
        return (path.stem for path in self._folder.glob("??/*.jpg") if _NAME.fullmatch(path.stem))

    def sweep(self, wanted: Collection[str], left_for: timedelta | None = None) -> bool:
        """Remove what was left: unfinished files, and pictures that are not wanted.

        Parameters
        ----------
        wanted : names of the pictures that records refer to
        left_for : only what was put so long ago; None for all, where nobody can be about to save one

        Returns
        -------
        bool : False where the disk kept one of them, as while another program reads it
        """
        clean = self.drop_unfinished(left_for)
        for path in self.unwanted(wanted, left_for):
            clean &= _unlinked(path)
        return clean

    def unwanted(self, wanted: Collection[str], left_for: timedelta | None = None) -> list[Path]:
        """Where pictures lie that are not wanted; parameters as for `sweep`."""
        found = [path for path in self._folder.glob("??/*.jpg") if path.stem not in wanted]
        return [path for path in found if _left(path, left_for)]

    def drop_unfinished(self, left_for: timedelta | None = None) -> bool:
        """Remove files that a crash left half written; False where the disk kept one."""
        unfinished = [path for path in self._folder.glob("??/*.tmp") if _left(path, left_for)]
        return all(list(map(_unlinked, unfinished)))  # every one, even after one that stays

    def take_back(self, path: Path) -> bool:
        """Move a picture here from elsewhere on the same disk; False where its content is not what was kept.

        Raises
        ------
        StoreFull, StoreError : the disk refuses it; the picture stays where it is
        """
        place = self._place(path.stem)
        with disk_faults("A picture could not be brought back"):
            if not _holds(path, path.stem):
                return False
            private_folder(place.parent)
            move_file(path, place)
            sync_folder(self._folder)
        return True

    def _place(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise NotFound("There is no photo file of that name.", "Load the page again.")
        return self._folder / name[:2] / f"{name}.jpg"

    def _check_quota(self, more: int) -> None:
        needed = bytes_in(self._within) + more
        if needed > self._quota_bytes:
            value, limit = needed / _MEGABYTE, self._quota_bytes / _MEGABYTE
            raise StoreFull(
                f"The photo does not fit: the studio's data would take {value:.1f} MB (limit {limit:.1f} MB).",
                "Delete photos that are not needed, or raise the limit.",
                value=value,
                limit=limit,
                unit="MB",
            )

    def _write(self, path: Path, content: bytes) -> None:
        if not path.parent.is_dir():
            private_folder(path.parent)
            sync_folder(self._folder)
        unfinished = private_file(path.with_name(f"{uuid4().hex}.tmp"))
        try:
            with unfinished.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            unfinished.replace(path)
        finally:
            unfinished.unlink(missing_ok=True)
        sync_folder(path.parent)


def is_name(text: str) -> bool:
    """True for what can be the name of a picture, and for nothing else."""
    return _NAME.fullmatch(text) is not None


def _left(path: Path, left_for: timedelta | None) -> bool:
    """True for a file that was put so long ago."""
    try:
        return left_for is None or path.stat().st_mtime < time.time() - left_for.total_seconds()
    except FileNotFoundError:
        return False


def _unlinked(path: Path) -> bool:
    """Remove a file; False where the disk keeps it, as while another program reads it."""
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return False
    return True


def _holds(path: Path, name: str) -> bool:
    return path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == name
