"""What came of visits, kept beside them so that past results need not read every record."""

from __future__ import annotations

from sqlalchemy import Connection, delete, func, insert, select

from tracker.errors import StoreDamaged
from tracker.outcomes import Outcome, outcomes_of
from tracker.records import MEASURING, PhotoRecord, Visit, from_json, to_json
from tracker.store import schema
from tracker.store.database import Database
from tracker.store.portfolio import agreeing
from tracker.store.rows import Row, read_record, read_records, search_text
from tracker.store.yardsticks import standing_yardsticks


class Outcomes(Database):
    """The part of the store that knows what came of visits."""

    def outcomes(
        self,
        region: str,
        start_lightness: tuple[float | None, float | None] = (None, None),
        service: str = "",
    ) -> list[Outcome]:
        """Outcomes of clients who agree to being measured now, newest first.

        Parameters
        ----------
        region : str, one of `reading.REGIONS`
        start_lightness : lowest and highest L* before, both included; None for no limit
        service : str, a service that the visit had; empty for any
        """
        table, visit = schema.outcome, schema.visit
        lowest, highest = start_lightness
        # visits as a list of their own: joined, each outcome would be tried against every client
        allowed = select(visit.c.id).where(visit.c.client_id.in_(agreeing(MEASURING)))
        query = (
            select(table.c.record)
            .where(table.c.region == region, table.c.visit_id.in_(allowed))
            .order_by(table.c.on_date.desc(), table.c.visit_id)
        )
        if lowest is not None:
            query = query.where(table.c.start_lightness >= lowest)
        if highest is not None:
            query = query.where(table.c.start_lightness <= highest)
        if service:
            query = query.where(func.instr(table.c.services, _service_line(service)) > 0)
        with self._reading() as connection:
            return [from_json(Outcome, text) for text in connection.execute(query).scalars()]

    def has_outcomes(self) -> bool:
        """True where any visit has a before and an after with numbers."""
        with self._reading() as connection:
            return connection.execute(select(schema.outcome.c.visit_id).limit(1)).first() is not None

    def services_with_outcomes(self) -> list[str]:
        """Services of visits that have an outcome, the most frequent first."""
        table = schema.outcome
        visits = func.count(table.c.visit_id.distinct())
        query = select(func.max(table.c.record).label("record"), visits.label("visits")).group_by(table.c.services)
        counted: dict[str, int] = {}
        with self._reading() as connection:
            for row in connection.execute(query):
                for service in from_json(Outcome, row.record).services:
                    counted[service] = counted.get(service, 0) + row.visits
        return sorted(counted, key=lambda name: (-counted[name], name))


def refresh_outcomes(connection: Connection, visit_id: str) -> None:
    """Make the outcomes of a visit what its record and photos say, in the transaction that changed them."""
    visits, photos, table = schema.visit, schema.photo, schema.outcome
    connection.execute(delete(table).where(table.c.visit_id == visit_id))
    text = connection.execute(select(visits.c.record).where(visits.c.id == visit_id)).scalar_one_or_none()
    if text is None:
        return
    try:
        visit = read_record(Visit, visit_id, text)
    except StoreDamaged:  # nothing is known of it; the record itself is reported where it is opened
        return
    query = select(photos).where(photos.c.visit_id == visit_id).order_by(photos.c.taken_at, photos.c.id)
    kept = list(read_records(PhotoRecord, connection.execute(query)))
    rows = [outcome_row(outcome) for outcome in outcomes_of(visit, kept, standing_yardsticks(connection).spread)]
    if rows:
        connection.execute(insert(table), rows)


def outcome_row(outcome: Outcome) -> Row:
    """Row of the table of outcomes."""
    return {
        "visit_id": outcome.visit_id,
        "region": outcome.region,
        "on_date": outcome.on.isoformat(),
        "services": "".join(_service_line(service) for service in outcome.services),
        "start_lightness": outcome.before.lab[0],
        "record": to_json(outcome),
    }


def _service_line(service: str) -> str:
    """Line breaks around it, so that ``toner`` does not find ``no toner``."""
    return f"\n{' '.join(search_text(service).split())}\n"
