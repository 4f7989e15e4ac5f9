"""Exports of everything, as folders beside the studio's own; an erasure removes them all."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

from tracker.records import now
from tracker.store.archive import FolderArchive
from tracker.store.database import Database
from tracker.store.faults import disk_faults
from tracker.store.folder import bytes_in, private_folder, sync_folder

_PREFIX = "tracker-export-"
_STAMP = "%Y%m%d-%H%M%S"


@dataclass(frozen=True, slots=True)
class Export:
    """One export of everything that still lies on the disk.

    Attributes
    ----------
    folder : Path
    made_at : datetime
    bytes : int, its size
    """

    folder: Path
    made_at: datetime
    bytes: int


class Exports(Database):
    """The part of the store that knows where exports lie."""

    @contextmanager
    def new_export(self) -> Iterator[tuple[FolderArchive, Path]]:
        """A folder to write an export into; it appears under its name only once it is whole.

        Yields
        ------
        FolderArchive : to add the files to
        Path : where it will lie

        Raises
        ------
        StoreFull, StoreError : the disk refuses it; nothing is left
        """
        place = private_folder(self._layout.exports)
        final = place / f"{_PREFIX}{now():{_STAMP}}-{uuid4().hex[:6]}"
        growing = place / f".{uuid4().hex}.tmp"
        try:
            yield FolderArchive(growing), final
            with disk_faults("The export could not be kept"):
                growing.rename(final)
                sync_folder(place)
        finally:
            shutil.rmtree(growing, ignore_errors=True)

    def exports(self) -> list[Export]:
        """Exports that lie on the disk, newest first."""
        found = [
            Export(folder, _made_at(folder), bytes_in(folder))
            for folder in self._layout.exports.glob(f"{_PREFIX}*")
            if folder.is_dir()
        ]
        return sorted(found, key=lambda export: export.made_at, reverse=True)

    def remove_exports(self) -> int:
        """Remove all exports, unfinished ones too; returns how many there were.

        Raises
        ------
        StoreError : the disk keeps one of them
        """
        place, count = self._layout.exports, 0
        if not place.is_dir():
            return 0
        for folder in [*place.glob(f"{_PREFIX}*"), *place.glob(".*.tmp")]:
            count += folder.name.startswith(_PREFIX)
            with disk_faults("An earlier export could not be removed"):
                shutil.rmtree(folder)
        return count


def _made_at(folder: Path) -> datetime:
    stamp = folder.name.removeprefix(_PREFIX)[:15]
    try:
        return datetime.strptime(stamp, _STAMP).replace(tzinfo=UTC)
    except ValueError:
        return datetime.fromtimestamp(folder.stat().st_mtime, UTC)
