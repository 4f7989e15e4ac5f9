"""How much is kept, how much more fits, and the limit that a person sets."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import func, select

from tracker.store import schema
from tracker.store.counted import counted
from tracker.store.part import Part
from tracker.store.room import FEWEST_VISITS, GUESSED_VISIT_BYTES, Room, free_to_keep, keep_reserve, limit_of
from tracker.store.settings_file import read_settings, write_limit


@dataclass(frozen=True, slots=True)
class Usage:
    """How much is kept.

    Attributes
    ----------
    bytes : int, size of the whole folder, without the reserve
    pictures, clients, visits : int, how many
    """

    bytes: int
    pictures: int
    clients: int
    visits: int


class DiskRoom(Part):
    """The part of the store that knows how much room there is."""

    def usage(self) -> Usage:
        """How much is kept."""
        self._database.aside_bytes = self._database.aside.weight()
        with self._database.reading() as connection:
            clients, visits = (
                connection.execute(select(func.count()).select_from(table)).scalar_one()
                for table in (schema.client, schema.visit)
            )
            pictures, _ = counted(connection)
            return Usage(self._database.bytes_used(connection), pictures, clients, visits)

    def room(self) -> Room:
        """How much room there is, from the settings file and the disk as they are now.

        Raises
        ------
        StoreError : the disk does not say
        """
        settings, free = read_settings(self._database.layout.settings), free_to_keep(self._database.layout)
        of_visits = select(func.count(schema.photo.c.visit_id.distinct()))
        with self._database.reading() as connection:
            used = self._database.bytes_used(connection)
            visits = connection.execute(of_visits).scalar_one()
            kept = counted(connection)[1]
        guessed = visits < FEWEST_VISITS or kept == 0
        visit_bytes = GUESSED_VISIT_BYTES if guessed else max(1, kept // visits)
        own_limit = settings.limit_bytes is not None
        return Room(used, limit_of(settings, used, free), free, own_limit, visit_bytes, guessed, settings.fault)

    def set_limit(self, limit_gb: float | None) -> None:
        """Set the most that the folder may hold, GB; None for the usual share of the disk.

        Raises
        ------
        StoreFull, StoreError : the disk refuses it; the limit is as it was
        """
        write_limit(self._database.layout.settings, limit_gb)

    def keep_reserve(self) -> None:
        """Keep some room back for looking and erasing on a full disk, if there is room enough for that now.

        Raises
        ------
        StoreError : the disk refuses it
        """
        keep_reserve(self._database.layout)
