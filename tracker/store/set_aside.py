"""Pictures that no record names: set aside with their day, and removed only when a person says so.

A record may have lost them through a fault that nobody knows of yet, so nothing is thrown away automatically.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from datetime import date, timedelta

from sqlalchemy import Connection

from tracker.errors import StoreError
from tracker.record.records import now
from tracker.store.aside_folder import LeftPicture
from tracker.store.counted import count_picture, uncount_pictures
from tracker.store.database import Database
from tracker.store.lookup import wanted_files
from tracker.store.settings import StudioSettings

ASK_AFTER = timedelta(days=30)
"""How long a picture is kept there before a person is asked."""

IN_HAND = timedelta(minutes=10)
"""A picture that no record names may be one being taken in; that never takes this long."""

_ASK_FROM = "set aside: ask from"


class SetAside:
    """The part of the store that keeps what no record names."""

    def __init__(self, database: Database, settings: StudioSettings) -> None:
        self._database = database
        self._settings = settings

    def pictures(self) -> list[LeftPicture]:
        """All pictures set aside, oldest first."""
        return self._database.aside.pictures()

    def picture(self, name: str) -> bytes:
        """Content of a picture that was set aside.

        Raises
        ------
        NotFound : there is none with that name
        StoreDamaged : its content is not what was kept
        """
        return self._database.aside.get(name)

    def asks(self) -> bool:
        """True if something has been set aside for so long that a person should say what to do with it."""
        today = _today()
        if not any(picture.since <= today - ASK_AFTER for picture in self.pictures()):
            return False
        try:
            return today >= date.fromisoformat(str(self._settings.get(_ASK_FROM)))
        except ValueError:  # nobody has said "later" yet
            return True

    def keep(self) -> None:
        """Ask again after `ASK_AFTER`, not before.

        Raises
        ------
        StoreError : it cannot be written
        """
        self._settings.put(_ASK_FROM, (_today() + ASK_AFTER).isoformat())

    def remove(self, names: Iterable[str]) -> int:
        """Remove these pictures, because a person said so; first, what a record now names goes back to its place.

        Returns
        -------
        int : how many were removed

        Raises
        ------
        StoreError : the disk keeps one of them
        DatabaseDamaged : the database is damaged; nothing is removed
        """
        with self._database.writing() as connection:
            self._database.require_sound()
            self.bring_back(connection)
            removed = sum(self._database.aside.remove(name) for name in set(names))
            self._database.aside_bytes = self._database.aside.weight()
            return removed

    def take_left_overs(self, connection: Connection, left_for: timedelta | None = None) -> None:
        """Set aside what no record names, inside a transaction that holds the write lock. What the disk will not move
        stays.

        Parameters
        ----------
        left_for : only what was put at least this long ago; None for all, where nobody can be about to save one
        """
        self._database.pictures.drop_unfinished(left_for)
        taken = []
        for path in self._database.pictures.unwanted(wanted_files(connection), left_for):
            with suppress(StoreError):
                self._database.aside.take(path, _today())
                taken.append(path.stem)
        uncount_pictures(connection, taken)
        self._database.aside_bytes = self._database.aside.weight()

    def bring_back(self, connection: Connection) -> None:
        """Put back pictures that a record names and that are missing, if they are set aside and whole."""
        lying = list(self._database.aside.files())
        wanted = wanted_files(connection) if lying else set()
        for path in lying:
            if path.stem in wanted and not self._database.pictures.is_there(path.stem):
                with suppress(StoreError):
                    size = path.stat().st_size
                    if self._database.pictures.take_back(path):
                        count_picture(connection, path.stem, size)
        self._database.aside_bytes = self._database.aside.weight()

    def empty(self) -> None:
        """Remove everything set aside, for an erasure.

        Raises
        ------
        StoreError : the disk keeps something
        """
        self._database.aside.empty()
        self._database.aside_bytes = 0


def _today() -> date:
    return now().astimezone().date()
