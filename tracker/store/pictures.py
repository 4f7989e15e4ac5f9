"""The kept pictures: files named by the SHA-256 of their content."""

from __future__ import annotations

import hashlib
import os
import re
import sys
import time
from collections.abc import Callable, Collection, Iterable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

from tracker.errors import NotFound, StoreDamaged, StoreError
from tracker.store.faults import disk_faults
from tracker.store.folder import move_file, private_file, private_folder, replace_file, sync_folder, sync_folders

_NAME = re.compile(r"[0-9a-f]{64}")

_SYNCED_AT_ONCE = 8
"""Files synced to the disk at the same time: the disk then does many of them in one go."""


class Pictures:
    """Pictures in ``ab/<sha>.jpg`` below a folder, where ``ab`` are the first letters of the name.

    Parameters
    ----------
    folder : Path, made if it is not there
    """

    def __init__(self, folder: Path) -> None:
        self._folder = private_folder(folder)

    def put(self, content: bytes, require_room: Callable[[int], None] | None = None) -> str:
        """Keep a picture. It is whole and safely on the disk before its name exists.

        Parameters
        ----------
        content : bytes of a JPEG
        require_room : called with the size in bytes before they are written; not called if the picture is already there

        Returns
        -------
        str : SHA-256 of the content, the picture's name; the same content is kept once

        Raises
        ------
        StoreFull : no room on the disk
        StoreError : the disk refuses it
        as `require_room`
        """
        name = name_of(content)
        path = self._place(name)
        with disk_faults("The photo could not be kept"):
            if _holds(path, name):
                path.touch()  # in use again: no sweep may take it for a leftover
            else:
                if require_room is not None:
                    require_room(len(content))
                self._write(path, content)
        return name

    def take(self, name: str, content: bytes) -> None:
        """Write a picture into a folder not yet in use; `settle` syncs them all to the disk.

        Parameters
        ----------
        name : str, SHA-256 of the content, checked by the caller
        content : bytes

        Raises
        ------
        StoreFull, StoreError : the disk refuses it
        """
        path = self._place(name)
        private_folder(path.parent)
        with disk_faults("The photo could not be kept"):
            path.unlink(missing_ok=True)  # never into a file that another backup shares
            with private_file(path).open("wb") as file:
                file.write(content)

    def settle(self, names: Iterable[str]) -> None:
        """Sync the pictures that were taken to the disk, and the names of all that are here.

        Raises
        ------
        StoreFull, StoreError : the disk refuses it
        """
        with disk_faults("The photos could not be kept"):
            with ThreadPoolExecutor(_SYNCED_AT_ONCE) as several:
                for _ in several.map(_sync_file, map(self._place, names)):
                    pass
            sync_folders(self._folder)

    def share(self, name: str, other: Pictures) -> bool:
        """Share a picture from another folder without a second copy; its content is not checked.

        Returns
        -------
        bool : False if it is not there, or the disk cannot do that
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
        if name_of(content) != name:
            raise StoreDamaged(
                f"The photo file {name[:12]} is not what was kept: its content has changed.",
                "Take it from a backup, or take the photo again.",
            )
        return content

    def is_whole(self, name: str) -> bool:
        """True if a picture is there, can be read, and its content is what was kept."""
        try:
            self.get(name)
        except StoreError:
            return False
        return True

    def path(self, name: str) -> Path:
        """Where a picture is.

        Raises
        ------
        NotFound : there is no such picture, or the name is not a SHA-256 in hexadecimal
        """
        path = self._place(name)
        if not self.is_there(name):
            raise NotFound(f"The photo file {name[:12]} is not there.", "Take it from a backup, or take it again.")
        return path

    def is_there(self, name: str) -> bool:
        """True where there is such a picture; its content is not checked."""
        return self._place(name).is_file()

    def remove(self, name: str) -> None:
        """Remove a picture; does nothing if it is already gone."""
        path = self._place(name)
        with disk_faults("The photo could not be removed"):
            if path.exists():
                path.unlink()
                sync_folder(path.parent)

    def sizes(self) -> dict[str, int]:
        """Size of every picture in bytes, by name; walks the whole folder."""
        found = {}
        for path in self._folder.glob("??/*.jpg"):
            if _NAME.fullmatch(path.stem):
                try:
                    found[path.stem] = path.stat().st_size
                except FileNotFoundError:  # removed meanwhile
                    continue
        return found

    def sweep(self, wanted: Collection[str], left_for: timedelta | None = None) -> bool:
        """Remove what was left: unfinished files, and pictures that are not wanted.

        Parameters
        ----------
        wanted : names of the pictures that records refer to
        left_for : only what was put at least this long ago; None for all, where nobody can be about to save one

        Returns
        -------
        bool : False if the disk kept one of them, as while another program reads it
        """
        clean = self.drop_unfinished(left_for)
        for path in self.unwanted(wanted, left_for):
            clean &= _unlinked(path)
        return clean

    def unwanted(self, wanted: Collection[str], left_for: timedelta | None = None) -> list[Path]:
        """Where the unwanted pictures are; parameters as for `sweep`."""
        found = [path for path in self._folder.glob("??/*.jpg") if path.stem not in wanted]
        return [path for path in found if _left(path, left_for)]

    def drop_unfinished(self, left_for: timedelta | None = None) -> bool:
        """Remove files that a crash left half written; False if the disk kept one."""
        unfinished = [path for path in self._folder.glob("??/*.tmp") if _left(path, left_for)]
        return all(list(map(_unlinked, unfinished)))  # every one, even after one that stays

    def take_back(self, path: Path) -> bool:
        """Move a picture here from elsewhere on the same disk; False if its content is not what was kept.

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
            raise NotFound("There is no photo file with that name.", "Load the page again.")
        return self._folder / name[:2] / f"{name}.jpg"

    def _write(self, path: Path, content: bytes) -> None:
        if not path.parent.is_dir():
            private_folder(path.parent)
            sync_folder(self._folder)
        replace_file(path, content, path.with_name(f"{uuid4().hex}.tmp"))


def is_name(text: str) -> bool:
    """True for what can be the name of a picture, and for nothing else."""
    return _NAME.fullmatch(text) is not None


def _left(path: Path, left_for: timedelta | None) -> bool:
    """True for a file put at least this long ago."""
    try:
        return left_for is None or path.stat().st_mtime < time.time() - left_for.total_seconds()
    except FileNotFoundError:
        return False


def _unlinked(path: Path) -> bool:
    """Remove a file; False if the disk keeps it, as while another program reads it."""
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return False
    return True


def name_of(content: bytes) -> str:
    """The name of a picture with that content."""
    return hashlib.sha256(content).hexdigest()


def _holds(path: Path, name: str) -> bool:
    return path.is_file() and name_of(path.read_bytes()) == name


def _sync_file(path: Path) -> None:
    with path.open("rb+" if sys.platform == "win32" else "rb") as file:  # a file must be writable there
        os.fsync(file.fileno())
