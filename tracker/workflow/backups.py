"""Backups: one made each day, one on demand, and bringing one back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from tracker.errors import TrackerError
from tracker.record.records import now
from tracker.store import Backup, Erasure, Store, data_folder, erasures_in, restore

_MOST_VISITS = 10
"""A busy day: this many visits are never left without a backup."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What came back.

    Attributes
    ----------
    folder : Path
    clients, visits, photos : int, how many
    left_out : int, clients in the backup who have been erased since; they did not come back
    damaged : int, pictures that are missing or altered in the backup
    """

    folder: Path
    clients: int
    visits: int
    photos: int
    left_out: int
    damaged: int


def back_up(store: Store) -> Path:
    """Make a backup now, check it, and remove those that are too old or too many, whether or not it could be made.

    Raises
    ------
    StoreFull, StoreError : it could not be made; the newest of the earlier ones stays
    StoreDamaged : it was made, but pictures are missing or altered in the studio itself
    """
    try:
        return store.backups.make()
    finally:
        store.backups.shelf.expire()


def back_up_at_start(store: Store) -> Path | None:
    """Make the backup that is due; None where none is. Old ones go in any case.

    One is due where the last was not made today, was made later than now, which only a wrong clock can do, or lacks
    `_MOST_VISITS` visits: a clock stuck on one day must not end the backups. A studio whose clients were all erased is
    backed up too: only newer backups let go of the last one that holds them.

    Raises
    ------
    as `back_up`
    """
    last = next(iter(store.backups.shelf.backups()), None)
    if (last is not None and _is_fresh(store, last)) or (store.is_empty() and not store.erasures.all()):
        store.backups.shelf.expire()
        return None
    return back_up(store)


def _is_fresh(store: Store, last: Backup) -> bool:
    moment = now()
    of_today = last.made_at.astimezone().date() == moment.astimezone().date() and not is_ahead(last, moment)
    return of_today and abs(store.disk.usage().visits - (last.visits or 0)) < _MOST_VISITS


def is_ahead(backup: Backup, moment: datetime | None = None) -> bool:
    """True for a backup dated in the future: the clock was ahead then, or is behind now."""
    return backup.made_at > (moment or now())


def days_since_backup(backups: Sequence[Backup]) -> int | None:
    """Whole days since the last backup made; None where there is none, below 0 where it is dated in the future.

    Parameters
    ----------
    backups : as the shelf lists them, the last made first
    """
    return (now() - backups[0].made_at).days if backups else None


def bring_back(backup: Path, folder: Path, erased: Iterable[Erasure] | None = None) -> Restored:
    """Restore a backup into an empty folder, without those who asked to be erased since it was made.

    Parameters
    ----------
    backup : Path of the backup's folder
    folder : Path, empty or not yet there
    erased : the erasure list; None to take it from the studio in use, if that can be opened

    Raises
    ------
    as `store.restore`
    """
    listed = list(_erased_here() if erased is None else erased)
    back = restore(backup, folder, erased=listed)
    with Store(folder) as store:
        usage = store.disk.usage()
        photos = store.photos.count()
    return Restored(folder, usage.clients, usage.visits, photos, back.left_out, len(back.damaged))


def _erased_here() -> list[Erasure]:
    """The erasure list of the studio in use; as much as can be read of it where the studio does not open."""
    try:
        folder = data_folder()
        if not any(folder.iterdir()):
            return []
    except (TrackerError, OSError):
        return []
    try:
        with Store(folder) as store:
            return store.erasures.all()
    except TrackerError:
        return erasures_in(folder)
