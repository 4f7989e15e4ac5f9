"""Backups: one a day by itself, one on demand, and bringing one back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from tracker.errors import TrackerError
from tracker.records import now
from tracker.store import Backup, Erasure, Store, data_folder, erasures_in, restore


@dataclass(frozen=True, slots=True)
class Restored:
    """What came back.

    Attributes
    ----------
    folder : Path
    clients, visits, photos : int, how many
    left_out : int, clients whom the backup holds and who were erased since; they did not come back
    damaged : int, pictures that are missing or altered in the backup
    """

    folder: Path
    clients: int
    visits: int
    photos: int
    left_out: int
    damaged: int


def back_up(store: Store) -> Path:
    """Make a backup now, check it, and remove those that are too old or too many, whether it could be made or not.

    Raises
    ------
    StoreFull, StoreError : it could not be made; the newest of the earlier ones stays
    StoreDamaged : it is made, but pictures are missing or altered in the studio itself
    """
    try:
        return store.backup()
    finally:
        store.shelf.expire()


def back_up_at_start(store: Store) -> Path | None:
    """The day's backup; None where there is one of today already, or nothing to back up. Old ones go in any case.

    A studio whose clients were all erased is backed up too: only a newer backup lets the last one that holds them go.

    Raises
    ------
    as `back_up`
    """
    today = now().astimezone().date()
    made_today = any(backup.made_at.astimezone().date() >= today for backup in store.shelf.backups()[:1])
    if made_today or (store.is_empty() and not store.erasures()):
        store.shelf.expire()
        return None
    return back_up(store)


def days_since_backup(backups: Iterable[Backup]) -> int | None:
    """Whole days since the newest backup; None where there is none."""
    newest = max((backup.made_at for backup in backups), default=None)
    return None if newest is None else (now() - newest).days


def bring_back(backup: Path, folder: Path, erased: Iterable[Erasure] | None = None) -> Restored:
    """Restore a backup into an empty folder, without those who asked to be erased since it was made.

    Parameters
    ----------
    backup : Path of the backup's folder
    folder : Path, empty or not there yet
    erased : the erasure list; None to take it from the studio in use, where that can be opened

    Raises
    ------
    as `store.restore`
    """
    listed = list(_erased_here() if erased is None else erased)
    back = restore(backup, folder, erased=listed)
    with Store(folder) as store:
        usage = store.usage()
        photos = store.photo_count()
    return Restored(folder, usage.clients, usage.visits, photos, back.left_out, len(back.damaged))


def _erased_here() -> list[Erasure]:
    """The erasure list of the studio in use; what can be read of it where that does not open."""
    try:
        folder = data_folder()
        if not any(folder.iterdir()):
            return []
    except (TrackerError, OSError):
        return []
    try:
        with Store(folder) as store:
            return store.erasures()
    except TrackerError:
        return erasures_in(folder)
