"""Where an export is written: a zip, or a folder."""

from __future__ import annotations

import io
import os
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Protocol, Self

from tracker.errors import Conflict
from tracker.record.records import now
from tracker.store.faults import disk_faults
from tracker.store.folder import private_file, private_folder, sync_folders

_PACKED_ALREADY = (".jpg",)


class Archive(Protocol):
    """Takes files under relative names."""

    def add(self, name: str, content: bytes) -> None:
        """Keep a file."""


class ZipArchive:
    """A zip in memory: nothing of it touches the disk."""

    def __init__(self) -> None:
        self._out = io.BytesIO()
        self._zip = zipfile.ZipFile(self._out, "w", zipfile.ZIP_DEFLATED)
        self._at = now().astimezone().timetuple()[:6]

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_raised: object) -> None:
        self._zip.close()

    def add(self, name: str, content: bytes) -> None:
        """Keep a file."""
        entry = zipfile.ZipInfo(name, self._at)
        entry.compress_type = zipfile.ZIP_STORED if name.endswith(_PACKED_ALREADY) else zipfile.ZIP_DEFLATED
        entry.external_attr = 0o600 << 16
        self._zip.writestr(entry, content)

    def finish(self) -> bytes:
        """The whole zip."""
        self._zip.close()
        return self._out.getvalue()


class FolderArchive:
    """A folder that only this user can open. If it is taken away meanwhile, it is not made again.

    Parameters
    ----------
    folder : Path, made if it is not there
    """

    def __init__(self, folder: Path) -> None:
        self._folder = private_folder(folder)

    def add(self, name: str, content: bytes) -> None:
        """Keep a file.

        Raises
        ------
        as `writing`
        """
        with self.writing(name) as file:
            file.write(content)

    @contextmanager
    def writing(self, name: str) -> Iterator[BinaryIO]:
        """A file to write piece by piece; it is safely on the disk at the end.

        Raises
        ------
        Conflict : the folder was removed meanwhile
        StoreFull, StoreError : the disk refuses it
        """
        path = self._folder / name
        with disk_faults("The export could not be written"):
            self._make_folder(path.parent)
            with private_file(path).open("wb") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())

    def settle(self) -> None:
        """Sync the names of all files to the disk.

        Raises
        ------
        Conflict : the folder was removed meanwhile
        """
        with disk_faults("The export could not be written"):
            self._require_folder()
            sync_folders(self._folder)

    def _make_folder(self, folder: Path) -> None:
        self._require_folder()
        if folder != self._folder:
            self._make_folder(folder.parent)
            folder.mkdir(mode=0o700, exist_ok=True)

    def _require_folder(self) -> None:
        if not self._folder.is_dir():
            raise Conflict("The export was removed while it was being written.", "Take everything out again.")
