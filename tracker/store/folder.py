"""Where the studio's data is, and how closed it is to other users of the computer."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path

from tracker.errors import StoreError

_FOLDER_MODE = 0o700
_FILE_MODE = 0o600


@dataclass(frozen=True, slots=True)
class Layout:
    """Names of the files in a studio's folder, and in a backup of it.

    Attributes
    ----------
    root : Path of the folder
    """

    root: Path

    @property
    def database(self) -> Path:
        """The record."""
        return self.root / "database.sqlite"

    @property
    def safety_copy(self) -> Path:
        """The record as it was before the last upgrade of the program."""
        return self.root / "before-upgrade.sqlite"

    @property
    def pictures(self) -> Path:
        """Folder of the kept pictures."""
        return self.root / "pictures"

    @property
    def settings(self) -> Path:
        """Settings of the studio that a person may edit."""
        return self.root / "settings.toml"

    @property
    def reserve(self) -> Path:
        """A file that only takes up room, given back when the disk is full."""
        return self.root / "reserve.bin"

    @property
    def mark(self) -> Path:
        """Which studio this is, and how often something was saved: shows up a database that does not belong here."""
        return self.root / "studio.json"

    @property
    def set_aside(self) -> Path:
        """Folder of the pictures that no record names, by the day they were found."""
        return self.root / "set-aside"

    @property
    def exports(self) -> Path:
        """Folder of the exports of everything, beside the studio's own."""
        return self._beside("exports")

    @property
    def backups(self) -> Path:
        """Folder of the backups that the program makes on its own, beside the studio's unless another is named.

        ``TRACKER_BACKUPS`` names another, such as one on another disk.
        """
        chosen = os.environ.get("TRACKER_BACKUPS")
        return Path(chosen).expanduser() if chosen else self._beside("backups")

    @property
    def lock(self) -> Path:
        """The mark that somebody has this folder open."""
        return self.root / "open.lock"

    def _beside(self, what: str) -> Path:
        root = self.root.resolve()
        return root.with_name(f"{root.name}-{what}")


def data_folder() -> Path:
    """The folder that holds everything the studio has, made if it is not there.

    Returns
    -------
    Path : ``TRACKER_HOME`` where that is set, else this user's own data folder

    Raises
    ------
    StoreError : the folder cannot be made
    """
    chosen = os.environ.get("TRACKER_HOME")
    return private_folder(Path(chosen).expanduser() if chosen else _users_folder() / "tracker")


def _users_folder() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support"
    stated = Path(os.environ.get("XDG_DATA_HOME", ""))
    return stated if stated.is_absolute() else Path.home() / ".local" / "share"


def private_folder(path: Path) -> Path:
    """Make a folder that only this user can open; an existing one keeps its permissions.

    Raises
    ------
    StoreError : it cannot be made
    """
    try:
        path.mkdir(mode=_FOLDER_MODE, parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(
            f"The folder {path} cannot be made ({error.strerror}).", "Choose another folder for the studio's data."
        ) from error
    return path


def private_file(path: Path) -> Path:
    """Make an empty file that only this user can read; an existing one is left as it is.

    Raises
    ------
    StoreError : it cannot be made
    """
    try:
        os.close(os.open(path, os.O_CREAT | os.O_WRONLY, _FILE_MODE))
    except OSError as error:
        raise StoreError(
            f"The file {path} cannot be written ({error.strerror}).", "Check the permissions of its folder."
        ) from error
    return path


def replace_file(path: Path, content: bytes, growing: Path | None = None) -> None:
    """Write a file so that it is the old one or the new one whatever happens; `growing` is what it grows under."""
    growing = growing or path.with_name(f"{path.name}.tmp")
    try:
        with private_file(growing).open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        growing.replace(path)
    finally:
        growing.unlink(missing_ok=True)
    sync_folder(path.parent)


def sync_folder(path: Path) -> None:
    """Sync the names in a folder to the disk; without this a rename can be lost in a power cut."""
    if sys.platform == "win32":
        return  # folders cannot be opened there, and renames are written through anyway
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def move_file(path: Path, target: Path) -> None:
    """Rename a file on the same disk; the new name is safely on the disk when this returns."""
    path.replace(target)
    sync_folder(target.parent)
    sync_folder(path.parent)


def sync_folders(root: Path) -> None:
    """As `sync_folder`, for a folder and all folders in it."""
    for folder, *_ in os.walk(root, topdown=False):
        sync_folder(Path(folder))


def bytes_in(path: Path) -> int:
    """Size of all files below a folder, bytes; files that vanish meanwhile count as nothing."""
    total = 0
    with os.scandir(path) as entries:
        for entry in entries:
            try:
                is_folder = entry.is_dir(follow_symlinks=False)
                total += bytes_in(Path(entry.path)) if is_folder else entry.stat(follow_symlinks=False).st_size
            except FileNotFoundError:
                continue
    return total
