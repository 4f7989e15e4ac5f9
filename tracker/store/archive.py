"""Where an export is written: a zip, or a folder."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Protocol, Self

from tracker.records import now
from tracker.store.faults import disk_faults
from tracker.store.folder import private_file, private_folder

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

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
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
    """A folder that only this user can open.

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
        StoreFull, StoreError : the disk refuses it
        """
        with self.writing(name) as file:
            file.write(content)

    @contextmanager
    def writing(self, name: str) -> Iterator[BinaryIO]:
        """A file to write piece by piece.

        Raises
        ------
        StoreFull, StoreError : the disk refuses it
        """
        path = self._folder / name
        private_folder(path.parent)
        with disk_faults("The export could not be written"), private_file(path).open("wb") as file:
            yield file
