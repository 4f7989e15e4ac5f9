"""How services wore and who is due, kept beside the records so that no page reads all photos.

A change to a client's record only notes that both must be worked out again: that is one line in its transaction, while
fitting curves can wait. What was worked out from an older state is never kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, Select, delete, func, insert, or_, select
from sqlalchemy.dialects.sqlite import insert as upsert

from tracker.record.records import MEASURING, PhotoRecord, Visit, from_json, to_json
from tracker.store import schema
from tracker.store.lookup import NEWEST_FIRST, agreeing, stored
from tracker.store.part import Part
from tracker.store.rows import read_records
from tracker.wear import Due, ServiceReadings


@dataclass(frozen=True, slots=True)
class ClientRecord:
    """What a client's wear is worked out from.

    Attributes
    ----------
    changes : int, which state of the record this is
    visits : newest first
    photos : in the order they were taken
    """

    client_id: str
    changes: int
    visits: tuple[Visit, ...]
    photos: tuple[PhotoRecord, ...]


class Wearing(Part):
    """The part of the store that knows how services wore and who is due."""

    def to_work_out(self, stamp: str, limit: int) -> list[str]:
        """Clients who agree to being measured and whose wear is not known, or known only from other yardsticks.

        Parameters
        ----------
        stamp : str, what it is worked out with now
        limit : int, the most that are named
        """
        with self._database.reading() as connection:
            return list(connection.execute(_stale(stamp).limit(limit)).scalars())

    def count_to_work_out(self, stamp: str) -> int:
        """How many `to_work_out` names without a limit."""
        with self._database.reading() as connection:
            return connection.execute(select(func.count()).select_from(_stale(stamp).subquery())).scalar_one()

    def record_of(self, client_id: str) -> ClientRecord:
        """One state of a client's visits and photos; damaged ones are left out."""
        visit, photo, table = schema.visit, schema.photo, schema.refresh
        with self._database.reading() as connection:
            changes = connection.execute(select(table.c.changes).where(table.c.client_id == client_id)).scalar()
            visits = connection.execute(select(visit).where(visit.c.client_id == client_id).order_by(*NEWEST_FIRST))
            kept = tuple(read_records(Visit, visits))
            rows = connection.execute(
                select(photo.c.id, photo.c.record)
                .where(photo.c.client_id == client_id)
                .order_by(photo.c.taken_at, photo.c.id)
            )
            return ClientRecord(client_id, changes or 0, kept, tuple(read_records(PhotoRecord, rows)))

    def keep(self, record: ClientRecord, due: Due, services: Sequence[ServiceReadings], stamp: str) -> bool:
        """Keep what was worked out from a state of the record; False if the record has changed since."""
        table = schema.refresh
        with self._database.writing() as connection:
            if stored(connection, schema.client.c.id, record.client_id) is None:
                return False
            row = connection.execute(select(table.c.changes).where(table.c.client_id == record.client_id)).scalar()
            if (row or 0) != record.changes:
                return False
            values = {
                "stamp": stamp,
                "early": _text(due.early),
                "middle": _text(due.middle),
                "late": _text(due.late),
                "record": to_json(due),
            }
            fresh = upsert(table).values(client_id=record.client_id, changes=record.changes, **values)
            connection.execute(fresh.on_conflict_do_update(["client_id"], set_=values))
            connection.execute(delete(schema.wear).where(schema.wear.c.client_id == record.client_id))
            if services:
                connection.execute(insert(schema.wear), [_wear_row(service, stamp) for service in services])
        return True

    def due_of(self, client_id: str, stamp: str) -> Due | None:
        """When one client is due; None if that is not worked out."""
        table = schema.refresh
        query = select(table.c.record).where(table.c.client_id == client_id, table.c.stamp == stamp)
        with self._database.reading() as connection:
            text = connection.execute(query).scalar_one_or_none()
        return None if text is None else from_json(Due, text)

    def dues(self, stamp: str, within: tuple[date, date] | None = None) -> list[Due]:
        """Clients with a refresh window, earliest middle first.

        Only those who agree to being measured now, and only what was worked out with this stamp.

        Parameters
        ----------
        within : first and last day between which the middle of the window lies, or None for any
        """
        table = schema.refresh
        query = _allowed(select(table.c.record), stamp).where(table.c.middle.is_not(None))
        if within is not None:
            first, last = within
            query = query.where(table.c.middle.between(first.isoformat(), last.isoformat()))
        with self._database.reading() as connection:
            rows = connection.execute(query.order_by(table.c.middle, table.c.client_id)).scalars()
            return [from_json(Due, text) for text in rows]

    def without_date(self, stamp: str) -> list[Due]:
        """Clients with a colour service for whom no date can be given, each with the reason."""
        table = schema.refresh
        query = _allowed(select(table.c.record), stamp).where(table.c.middle.is_(None)).order_by(table.c.client_id)
        with self._database.reading() as connection:
            found = [from_json(Due, text) for text in connection.execute(query).scalars()]
        return [due for due in found if due.visit_id is not None]

    def months_due(self, stamp: str) -> dict[str, int]:
        """How many clients are due in each month, such as ``2026-05``, earliest first."""
        table = schema.refresh
        month = func.substr(table.c.middle, 1, 7)
        query = _allowed(select(month, func.count()), stamp).where(table.c.middle.is_not(None)).group_by(month)
        with self._database.reading() as connection:
            return {row[0]: row[1] for row in connection.execute(query.order_by(month))}

    def services_of(self, client_id: str, stamp: str) -> list[ServiceReadings] | None:
        """How one client's services wore, newest first; None if that is not worked out."""
        table, wear = schema.refresh, schema.wear
        known = select(table.c.client_id).where(table.c.client_id == client_id, table.c.stamp == stamp)
        query = select(wear.c.record).where(wear.c.client_id == client_id)
        with self._database.reading() as connection:
            if connection.execute(known).first() is None:
                return None
            rows = connection.execute(query.order_by(wear.c.on_date.desc(), wear.c.visit_id)).scalars()
            return [from_json(ServiceReadings, text) for text in rows]

    def limits_to_confirm(self, stamp: str) -> list[Due]:
        """Clients whose limits were agreed on photos read along a ribbon, and wait to be kept or agreed anew."""
        table = schema.refresh
        asked = func.json_extract(table.c.record, "$.to_confirm")
        query = _allowed(select(table.c.record), stamp).where(asked.is_(True)).order_by(table.c.client_id)
        with self._database.reading() as connection:
            return [from_json(Due, text) for text in connection.execute(query).scalars()]

    def services(self) -> list[ServiceReadings]:
        """How all services wore, of clients who agree to being measured now, newest first."""
        table = schema.wear
        query = (
            select(table.c.record)
            .where(table.c.client_id.in_(agreeing(MEASURING)))
            .order_by(table.c.on_date.desc(), table.c.visit_id)
        )
        with self._database.reading() as connection:
            return [from_json(ServiceReadings, text) for text in connection.execute(query).scalars()]


def forget_wear(connection: Connection, clients: Select[Any]) -> None:
    """Note that the records of some clients changed: what was worked out from them is out of date."""
    table = schema.refresh
    empty = {"stamp": "", "early": None, "middle": None, "late": None, "record": None}
    for client_id in connection.execute(clients).scalars().all():
        connection.execute(delete(schema.wear).where(schema.wear.c.client_id == client_id))
        fresh = upsert(table).values(client_id=client_id, changes=1, **empty)
        connection.execute(fresh.on_conflict_do_update(["client_id"], set_={**empty, "changes": table.c.changes + 1}))


def _stale(stamp: str) -> Select[Any]:
    table, client = schema.refresh, schema.client
    return (
        select(client.c.id)
        .outerjoin(table, table.c.client_id == client.c.id)
        .where(or_(table.c.stamp.is_(None), table.c.stamp != stamp), client.c.id.in_(agreeing(MEASURING)))
        .order_by(client.c.id)
    )


def _allowed(query: Select[Any], stamp: str) -> Select[Any]:
    table = schema.refresh
    return query.where(table.c.stamp == stamp, table.c.client_id.in_(agreeing(MEASURING)))


def _wear_row(service: ServiceReadings, stamp: str) -> dict[str, str]:
    return {
        "visit_id": service.visit_id,
        "client_id": service.client_id,
        "on_date": service.on.isoformat(),
        "stamp": stamp,
        "record": to_json(service),
    }


def _text(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
