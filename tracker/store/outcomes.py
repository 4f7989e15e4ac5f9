"""What came of visits, kept beside them so that past results need not read every record.

A change to a visit works out its outcomes again at once. A new spread in force affects those of every visit with
repeats: they are left out until they are worked out again, a few at a time.
"""

import hashlib
from typing import Any

from sqlalchemy import Connection, Select, bindparam, delete, func, insert, select

from tracker.compare.past_results import Outcome, outcomes_of
from tracker.measure.repeatability import Repeatability
from tracker.record.records import MEASURING, PhotoRecord, Visit, from_json, to_json
from tracker.store import schema
from tracker.store.lookup import agreeing
from tracker.store.part import Part
from tracker.store.rows import Row, read_records, search_text
from tracker.store.yardsticks import standing_yardsticks


class Outcomes(Part):
    """The part of the store that knows what came of visits."""

    def find(
        self,
        region: str,
        start_lightness: tuple[float | None, float | None] = (None, None),
        service: str = "",
    ) -> list[Outcome]:
        """Outcomes of clients who agree to being measured now, by the spread in force, newest first.

        Parameters
        ----------
        region : str, one of `reading.REGIONS`
        start_lightness : lowest and highest L* before, inclusive; None for no limit
        service : str, a service that the visit had; empty for any
        """
        table = schema.outcome
        lowest, highest = start_lightness
        query = (
            select(table.c.record)
            .where(table.c.region == region, table.c.visit_id.in_(_allowed()))
            .order_by(table.c.on_date.desc(), table.c.visit_id)
        )
        if lowest is not None:
            query = query.where(table.c.start_lightness >= lowest)
        if highest is not None:
            query = query.where(table.c.start_lightness <= highest)
        if service:
            query = query.where(func.instr(table.c.services, _service_line(service)) > 0)
        with self._database.reading() as connection:
            query = query.where(table.c.stamp == _stamp(standing_yardsticks(connection).spread))
            return [from_json(Outcome, text) for text in connection.execute(query).scalars()]

    def any_told(self) -> bool:
        """True where any visit of a client who agrees now has a before and an after with numbers."""
        visit_id = schema.outcome.c.visit_id
        with self._database.reading() as connection:
            return connection.execute(select(visit_id).where(visit_id.in_(_allowed())).limit(1)).first() is not None

    def services(self) -> list[str]:
        """Services of visits that have an outcome, of clients who agree now, the most frequent first."""
        table = schema.outcome
        visits = func.count(table.c.visit_id.distinct())
        query = (
            select(func.max(table.c.record).label("record"), visits.label("visits"))
            .where(table.c.visit_id.in_(_allowed()))
            .group_by(table.c.services)
        )
        counted: dict[str, int] = {}
        with self._database.reading() as connection:
            for row in connection.execute(query):
                for service in from_json(Outcome, row.record).services:
                    counted[service] = counted.get(service, 0) + row.visits
        return sorted(counted, key=lambda name: (-counted[name], name))

    def count_stale(self) -> int:
        """Visits whose outcomes rest on a spread other than the one in force."""
        with self._database.reading() as connection:
            return _count(connection, _stale(connection))

    def refresh_stale(self, limit: int) -> int:
        """Work out the outcomes of at most so many of these visits again; returns how many are left."""
        with self._database.writing() as connection:
            stale = _stale(connection)
            refresh_outcomes(connection, stale.limit(limit))
            return _count(connection, stale)


def refresh_outcomes(connection: Connection, visits: Select[Any]) -> None:
    """Set the outcomes of some visits to what their records and photos say, by the spread in force."""
    table, visit, photo = schema.outcome, schema.visit, schema.photo
    kept = connection.execute(select(visit.c.id, visit.c.record).where(visit.c.id.in_(visits))).all()
    if not kept:
        return
    spread = standing_yardsticks(connection).spread
    connection.execute(delete(table).where(table.c.visit_id == bindparam("gone")), [{"gone": row.id} for row in kept])
    for each in read_records(Visit, kept):  # nothing is known about a damaged one; opening it says so
        query = select(photo).where(photo.c.visit_id == each.id).order_by(photo.c.taken_at, photo.c.id)
        photos = list(read_records(PhotoRecord, connection.execute(query)))
        if rows := [outcome_row(outcome, spread) for outcome in outcomes_of(each, photos, spread)]:
            connection.execute(insert(table), rows)


def outcome_row(outcome: Outcome, spread: Repeatability) -> Row:
    """Row of the table of outcomes, with the spread that it was worked out with."""
    return {
        "visit_id": outcome.visit_id,
        "region": outcome.region,
        "on_date": outcome.on.isoformat(),
        "services": "".join(_service_line(service) for service in outcome.services),
        "start_lightness": outcome.before.lab[0],
        "record": to_json(outcome),
        "stamp": _stamp(spread),
    }


def _allowed() -> Select[Any]:
    """Visits of clients who agree to being measured now."""
    visit = schema.visit
    # a separate list: joined, each outcome would be compared with every client
    return select(visit.c.id).where(visit.c.client_id.in_(agreeing(MEASURING)))


def _stale(connection: Connection) -> Select[Any]:
    table, stamp = schema.outcome, _stamp(standing_yardsticks(connection).spread)
    return select(table.c.visit_id).where(table.c.stamp.is_distinct_from(stamp)).distinct()


def _count(connection: Connection, query: Select[Any]) -> int:
    return connection.execute(select(func.count()).select_from(query.subquery())).scalar_one()


def _stamp(spread: Repeatability) -> str:
    return hashlib.sha256(to_json(spread).encode()).hexdigest()[:16]


def _service_line(service: str) -> str:
    """Line breaks around it, so that ``toner`` does not find ``no toner``."""
    return f"\n{' '.join(search_text(service).split())}\n"
