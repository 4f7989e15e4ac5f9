"""The folder of pictures that were set aside: ``set-aside/2026-11-29/<sha>.jpg``, by the day they were found."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from tracker.errors import NotFound, StoreDamaged
from tracker.store.faults import disk_faults
from tracker.store.folder import move_file, private_folder, sync_folder
from tracker.store.pictures import is_name


@dataclass(frozen=True, slots=True)
class LeftPicture:
    """A picture that no record names.

    Attributes
    ----------
    name : str, SHA-256 of its content
    since : date on which it was found
    bytes : int, its size
    """

    name: str
    since: date
    bytes: int


class AsideFolder:
    """Pictures that no record names.

    Parameters
    ----------
    folder : Path, made with the first picture
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def pictures(self) -> list[LeftPicture]:
        """All of them, oldest first."""
        found = []
        for path in self.files():
            try:
                found.append(LeftPicture(path.stem, date.fromisoformat(path.parent.name), path.stat().st_size))
            except (ValueError, FileNotFoundError):  # not ours, or removed meanwhile
                continue
        return sorted(found, key=lambda picture: (picture.since, picture.name))

    def weight(self) -> int:
        """Size of what is here, bytes."""
        return sum(picture.bytes for picture in self.pictures())

    def files(self, name: str = "*") -> Iterator[Path]:
        """Where the picture with this name is, or all of them; one may be under several days."""
        return self._folder.glob(f"*/{name}.jpg")

    def get(self, name: str) -> bytes:
        """Content of a picture, checked against its name.

        Raises
        ------
        NotFound : there is none with that name
        StoreDamaged : its content is not what was kept
        """
        path = next(self.files(name), None) if is_name(name) else None
        if path is None:
            raise NotFound("This picture is no longer set aside.", "Load the page again.")
        with disk_faults("The picture could not be read"):
            content = path.read_bytes()
        if hashlib.sha256(content).hexdigest() != name:
            raise StoreDamaged("This picture is not what was kept: its content has changed.", "It cannot be shown.")
        return content

    def take(self, path: Path, day: date) -> None:
        """Move a picture here.

        Raises
        ------
        StoreFull, StoreError : the disk refuses it; the picture stays where it is
        """
        place = private_folder(private_folder(self._folder) / day.isoformat())
        with disk_faults("A picture could not be set aside"):
            move_file(path, place / path.name)
            sync_folder(self._folder)
            sync_folder(self._folder.parent)

    def remove(self, name: str) -> bool:
        """Remove a picture; True where there was one.

        Raises
        ------
        StoreError : the disk keeps it
        """
        found = list(self.files(name))
        for path in found:
            _unlink(path)
        return bool(found)

    def empty(self) -> None:
        """Remove everything here.

        Raises
        ------
        StoreError : the disk keeps something
        """
        for path in list(self._folder.glob("*/*")):
            _unlink(path)


def _unlink(path: Path) -> None:
    with disk_faults("A picture that was set aside could not be removed"):
        path.unlink(missing_ok=True)
        sync_folder(path.parent)
