"""What the parts of the store have in common."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tracker.store.database import Database


class Part:
    """A part of the store: it keeps one thing, in the database that it is handed."""

    def __init__(self, database: Database) -> None:
        self._database = database
