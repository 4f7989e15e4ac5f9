"""The studio's own yardsticks, every version of them."""

from dataclasses import replace

from sqlalchemy import Connection, insert, select, update

from tracker.calibrate.calibration import Yardstick, Yardsticks, in_force
from tracker.record.records import now
from tracker.store import schema
from tracker.store.lookup import find
from tracker.store.part import Part
from tracker.store.rows import read_records, yardstick_row


class OwnYardsticks(Part):
    """The part of the store that keeps how far photos scatter, the level scale and what is neutral."""

    def add(self, version: Yardstick) -> Yardstick:
        """Keep a new version; it is in force from now on."""
        with self._database.writing() as connection:
            connection.execute(insert(schema.yardstick), yardstick_row(version))
        return version

    def stand(self, version_id: str, *, stands: bool) -> Yardstick:
        """Undo a version, or bring it back into force; nothing is forgotten.

        Raises
        ------
        NotFound, StoreDamaged
        """
        with self._database.writing() as connection:
            kept = find(connection, Yardstick, version_id)
            changed = replace(kept, undone_at=None if stands else kept.undone_at or now())
            row = yardstick_row(changed)
            connection.execute(update(schema.yardstick).where(schema.yardstick.c.id == version_id).values(row))
        return changed

    def versions(self, kind: str | None = None) -> list[Yardstick]:
        """All versions, newest first, including those undone; damaged records are left out."""
        with self._database.reading() as connection:
            return _versions(connection, kind)

    def in_force(self) -> Yardsticks:
        """What is in force."""
        with self._database.reading() as connection:
            return standing_yardsticks(connection)


def standing_yardsticks(connection: Connection) -> Yardsticks:
    """What is in force, as this transaction sees it."""
    standing = select(schema.yardstick).where(schema.yardstick.c.undone_at.is_(None))
    newest_first = standing.order_by(schema.yardstick.c.number.desc())
    return in_force(read_records(Yardstick, connection.execute(newest_first)))


def _versions(connection: Connection, kind: str | None) -> list[Yardstick]:
    query = select(schema.yardstick).order_by(schema.yardstick.c.number.desc())
    if kind is not None:
        query = query.where(schema.yardstick.c.kind == kind)
    return list(read_records(Yardstick, connection.execute(query)))
