"""The studio's own yardsticks, every version of them."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from tracker.records import now
from tracker.store import schema
from tracker.store.database import Database, find
from tracker.store.rows import read_records, yardstick_row
from tracker.yardsticks import Yardstick, Yardsticks, in_force


class OwnYardsticks(Database):
    """The part of the store that keeps how far photos scatter, the level scale and what is neutral."""

    def add_yardstick(self, version: Yardstick) -> Yardstick:
        """Keep a new version; it is in force from now on."""
        with self._writing() as connection:
            connection.execute(insert(schema.yardstick), yardstick_row(version))
        return version

    def stand_yardstick(self, version_id: str, *, stands: bool) -> Yardstick:
        """Put a version out of force, or let it stand again; nothing is forgotten.

        Raises
        ------
        NotFound, StoreDamaged
        """
        with self._writing() as connection:
            kept = find(connection, Yardstick, version_id)
            changed = replace(kept, undone_at=None if stands else kept.undone_at or now())
            row = yardstick_row(changed)
            connection.execute(update(schema.yardstick).where(schema.yardstick.c.id == version_id).values(row))
        return changed

    def yardstick_versions(self, kind: str | None = None) -> list[Yardstick]:
        """All versions, newest first, those that were undone too; damaged records are left out."""
        with self._reading() as connection:
            return _versions(connection, kind)

    def yardsticks(self) -> Yardsticks:
        """What is in force."""
        with self._reading() as connection:
            return standing_yardsticks(connection)

    def change_gathered(self, name: str, change: Callable[[list[Any]], list[Any]]) -> None:
        """Change the readings that are being gathered under a name, so that no other window's are lost.

        Parameters
        ----------
        name : str, of a setting whose value is a list of plain JSON
        change : from the list as it is to the list as it shall be
        """
        table = schema.setting
        with self._writing() as connection:
            text = connection.execute(select(table.c.value).where(table.c.name == name)).scalar_one_or_none()
            changed = change(_listed(text))
            connection.execute(delete(table).where(table.c.name == name))
            if changed:
                connection.execute(insert(table), {"name": name, "value": json.dumps(changed, allow_nan=False)})


def standing_yardsticks(connection: Connection) -> Yardsticks:
    """What is in force, as this transaction sees it."""
    standing = select(schema.yardstick).where(schema.yardstick.c.undone_at.is_(None))
    newest_first = standing.order_by(schema.yardstick.c.number.desc())
    return in_force(read_records(Yardstick, connection.execute(newest_first)))


def _listed(text: str | None) -> list[Any]:
    """The list in a setting; empty where there is none or it cannot be read any more."""
    try:
        kept = json.loads(text or "[]")
    except ValueError:
        return []
    return kept if isinstance(kept, list) else []


def _versions(connection: Connection, kind: str | None) -> list[Yardstick]:
    query = select(schema.yardstick).order_by(schema.yardstick.c.number.desc())
    if kind is not None:
        query = query.where(schema.yardstick.c.kind == kind)
    return list(read_records(Yardstick, connection.execute(query)))
