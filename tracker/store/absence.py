"""Who has not been here for long: whether a record is still needed is for a person to say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select

from tracker.errors import StoreDamaged
from tracker.records import Client
from tracker.store import schema
from tracker.store.database import Database
from tracker.store.rows import read_record


@dataclass(frozen=True, slots=True)
class Absent:
    """A client who has not been seen for long.

    Attributes
    ----------
    client : Client
    last_seen : date of the latest visit or photo, or of being added
    """

    client: Client
    last_seen: date


class Absence(Database):
    """The part of the store that knows who was seen when."""

    def not_seen_since(self, day: date) -> list[Absent]:
        """Clients last seen before a day, longest first; damaged records are left out. Nothing is deleted."""
        client, visit, photo = schema.client, schema.visit, schema.photo
        visits = (
            select(visit.c.client_id, func.max(visit.c.on_date).label("day")).group_by(visit.c.client_id).subquery()
        )
        taken = func.date(func.max(photo.c.taken_at), "localtime").label("day")
        photos = select(photo.c.client_id, taken).group_by(photo.c.client_id).subquery()
        added = func.date(func.json_extract(client.c.record, "$.created_at"), "localtime")
        last = func.coalesce(func.max(visits.c.day, photos.c.day), visits.c.day, photos.c.day, added)
        query = (
            select(client.c.id, client.c.record, last.label("last_seen"))
            .outerjoin(visits, visits.c.client_id == client.c.id)
            .outerjoin(photos, photos.c.client_id == client.c.id)
            .where(func.json_valid(client.c.record), last < day.isoformat())
            .order_by(last, client.c.id)
        )
        with self._reading() as connection:
            rows = connection.execute(query).all()
        found = []
        for row in rows:
            try:
                found.append(Absent(read_record(Client, row.id, row.record), date.fromisoformat(row.last_seen)))
            except StoreDamaged:
                continue
        return found
