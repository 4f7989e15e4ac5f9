"""How much room there is: what the studio holds, what it may hold, and a reserve for when the disk is full."""

from __future__ import annotations

import os
import shutil
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from tracker.errors import StoreFull
from tracker.store.faults import disk_faults, no_room
from tracker.store.folder import Layout, replace_file
from tracker.store.settings_file import GIGABYTE, FileSettings

GUESSED_VISIT_BYTES = 20 * 1000**2
"""A visit with three photos before and three after, until the studio has enough visits of its own."""

FEWEST_VISITS = 5
"""Visits with photos needed for the studio's own mean."""

NEARLY_FULL_VISITS = 30
"""When fewer visits than this still fit, the person is warned: a week or two to find another disk."""

RESERVE_BYTES = 16 * 1024**2
"""What is kept free for looking and erasing on a full disk: the log of erasing a client of a hundred visits."""

_KEEP_FREE = 4 * RESERVE_BYTES  # with less than that the reserve itself would fill the disk
_TO_OPEN = 1024**2  # what SQLite needs to open a database: the index of its log, and some of the log


@dataclass(frozen=True, slots=True)
class Room:
    """How much the studio holds and may hold.

    Attributes
    ----------
    used : int, bytes that the studio's folder takes
    limit : int, the most bytes that it may take
    free : int, bytes that are free for photos on its disk
    own_limit : bool, True if the limit was set, False if it is the usual share of the disk
    visit_bytes : int, what a visit takes
    guessed : bool, True if the studio has too few visits to say what one takes
    fault : str, what is wrong with the file of settings; empty where nothing is
    """

    used: int
    limit: int
    free: int
    own_limit: bool
    visit_bytes: int
    guessed: bool
    fault: str = ""

    @property
    def left(self) -> int:
        """Bytes that still fit: under the limit, and with as much again for the backup on the same disk."""
        return max(0, min(self.limit - self.used, self.free // 2))

    @property
    def visits_left(self) -> int:
        """About how many more visits fit."""
        return self.left // self.visit_bytes


def limit_of(settings: FileSettings, used: int, free: int) -> int:
    """The most bytes that the folder may take: as set, else what it already takes and half of what is free.

    The other half is for the backups, which hold every picture again.
    """
    return settings.limit_bytes if settings.limit_bytes is not None else used + free // 2


def require_room(used: int, more: int, limit: int, free: int) -> None:
    """Check that a picture fits.

    Parameters
    ----------
    used, more, limit, free : int, bytes: in the folder, of the picture, allowed in the folder, free for photos

    Raises
    ------
    StoreFull : the folder would take more than allowed, or the disk has no room
    """
    if more > free:
        raise no_room()
    if used + more > limit:
        value, most = (used + more) / GIGABYTE, limit / GIGABYTE
        raise StoreFull(
            f"The photo does not fit: the studio's data would take {value:.3g} GB (limit {most:.3g} GB).",
            "Raise the limit under My data, or make room there.",
            value=value,
            limit=most,
            unit="GB",
        )


def free_bytes(folder: Path) -> int:
    """Bytes that this user may still write on the disk of a folder.

    Raises
    ------
    StoreError : the disk does not say
    """
    with disk_faults("The room left on the disk is not known"):
        return shutil.disk_usage(folder).free


def free_to_keep(layout: Layout) -> int:
    """Bytes free for photos: what the reserve lacks is kept free for looking and erasing.

    Raises
    ------
    StoreError : the disk does not say
    """
    return max(0, free_bytes(layout.root) - (RESERVE_BYTES - _reserved(layout)))


def files_beside(layout: Layout) -> int:
    """Bytes of the files beside the pictures, such as the database and its log; the reserve is room, not use."""
    total = 0
    with os.scandir(layout.root) as entries:
        for entry in entries:
            try:
                if entry.name != layout.reserve.name and entry.is_file(follow_symlinks=False):
                    total += entry.stat(follow_symlinks=False).st_size
            except FileNotFoundError:  # gone meanwhile
                continue
    return total


def keep_reserve(layout: Layout) -> None:
    """Make the reserve if it is missing or was partly given back, and the disk has room enough.

    Raises
    ------
    StoreError : the disk refuses it
    """
    if _reserved(layout) >= RESERVE_BYTES or free_bytes(layout.root) < RESERVE_BYTES + _KEEP_FREE:
        return
    with disk_faults("The reserve for a full disk could not be made"):
        replace_file(layout.reserve, os.urandom(RESERVE_BYTES))  # not zeros, which some disks store as nothing


def give_back_to_open(layout: Layout) -> None:
    """On a full disk, give back as much of the reserve as opening the record needs."""
    with suppress(OSError):  # what follows shows what is wrong with the disk
        held = _reserved(layout)
        if held and shutil.disk_usage(layout.root).free < _TO_OPEN:
            os.truncate(layout.reserve, max(0, held - 2 * _TO_OPEN))


def give_back(layout: Layout) -> None:
    """On a full disk, give the whole reserve back, so that something can be removed."""
    with suppress(OSError):
        if shutil.disk_usage(layout.root).free < RESERVE_BYTES:
            layout.reserve.unlink(missing_ok=True)


def _reserved(layout: Layout) -> int:
    try:
        return layout.reserve.stat().st_size
    except FileNotFoundError:
        return 0
