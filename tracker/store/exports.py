"""Exports of everything, as folders beside the studio's own; an erasure removes them all."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

from sqlalchemy import Connection, func, select

from tracker.errors import Conflict, StoreError
from tracker.record.records import now
from tracker.store import schema
from tracker.store.archive import FolderArchive
from tracker.store.faults import disk_faults
from tracker.store.folder import bytes_in, private_folder, sync_folder
from tracker.store.part import Part

_PREFIX = "tracker-export-"
_STAMP = "%Y%m%d-%H%M%S"


@dataclass(frozen=True, slots=True)
class Export:
    """One export of everything that is still on the disk.

    Attributes
    ----------
    folder : Path
    made_at : datetime
    bytes : int, its size
    """

    folder: Path
    made_at: datetime
    bytes: int


class Exports(Part):
    """The part of the store that knows where exports lie."""

    @contextmanager
    def new(self, elsewhere: Path | None = None) -> Iterator[tuple[FolderArchive, Path]]:
        """A folder to write an export into; it appears under its name only once it is whole.

        Parameters
        ----------
        elsewhere : Path of another folder, as on another disk where this one is full; an export there belongs to the
            person, so no erasure removes it. None for the usual place beside the studio's folder.

        Yields
        ------
        FolderArchive : to add the files to
        Path : where it will be

        Raises
        ------
        Conflict : a client was erased meanwhile, or exports were removed; nothing is left
        StoreFull, StoreError : the disk refuses it, or the folder is inside the studio's own; nothing is left
        """
        place = elsewhere or self._database.layout.exports
        if place.resolve().is_relative_to(self._database.layout.root.resolve()):
            raise StoreError("An export cannot be inside the studio's own folder.", "Choose a folder on another disk.")
        final = private_folder(place) / f"{_PREFIX}{now():{_STAMP}}-{uuid4().hex[:6]}"
        # only a person can find what is cut off elsewhere, so it is not hidden there
        growing = place / _growing_name() if elsewhere is None else final.with_name(f"{final.name}-unfinished")
        with self._database.reading() as connection:
            erased = _erased_count(connection)
        try:
            archive = FolderArchive(growing)
            yield archive, final
            archive.settle()
            # under the lock, so that either the erasure is seen here or it finds the export under its name
            with self._database.writing() as connection, disk_faults("The export could not be kept"):
                if _erased_count(connection) != erased:
                    raise Conflict(
                        "A client was erased while the export was being written, so it was thrown away.",
                        "Take everything out again.",
                    )
                growing.rename(final)
                sync_folder(place)
        finally:
            shutil.rmtree(growing, ignore_errors=True)

    def all(self) -> list[Export]:
        """Exports on the disk, newest first."""
        found = [Export(folder, _made_at(folder), bytes_in(folder)) for folder in self._folders()]
        return sorted(found, key=lambda export: export.made_at, reverse=True)

    def count(self) -> int:
        """How many exports are on the disk."""
        return len(self._folders())

    def remove_all(self) -> None:
        """Remove all exports, and those being written: whoever writes one gets an error.

        Raises
        ------
        StoreError : the disk keeps one of them
        """
        place = self._database.layout.exports
        for folder in [*self._folders(), *place.glob(".*.tmp")]:
            # what is already gone was removed by somebody else
            with disk_faults("An earlier export could not be removed"), suppress(FileNotFoundError):
                # renamed first: nothing more can be added to it while it is taken apart
                gone = folder.rename(place / _growing_name())
                shutil.rmtree(gone)

    def _folders(self) -> list[Path]:
        return [folder for folder in self._database.layout.exports.glob(f"{_PREFIX}*") if folder.is_dir()]


def _growing_name() -> str:
    """A hidden name for an export that is not whole."""
    return f".{uuid4().hex}.tmp"


def _erased_count(connection: Connection) -> int:
    """How many clients were ever erased; grows with each erasure."""
    return connection.execute(select(func.count()).select_from(schema.erasure)).scalar_one()


def _made_at(folder: Path) -> datetime:
    stamp = folder.name.removeprefix(_PREFIX)[:15]
    try:
        return datetime.strptime(stamp, _STAMP).replace(tzinfo=UTC)
    except ValueError:
        return datetime.fromtimestamp(folder.stat().st_mtime, UTC)
