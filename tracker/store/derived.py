"""What is worked out from records and kept beside them: the words of visits, and what came of them."""

from __future__ import annotations

from sqlalchemy import Connection, select

from tracker.errors import StoreDamaged
from tracker.records import Visit
from tracker.store import schema
from tracker.store.outcomes import refresh_outcomes
from tracker.store.rows import read_record
from tracker.store.searching import refresh_text


def rebuild(connection: Connection) -> None:
    """Work out what is missing; run after an upgrade, in its transaction, so that old records have it too.

    A revision that changes what is derived empties `visit_text` and `outcome`.
    """
    known = select(schema.visit_text.c.visit_id)
    query = select(schema.visit.c.id, schema.visit.c.record).where(schema.visit.c.id.not_in(known))
    for row in connection.execute(query).all():
        try:
            refresh_text(connection, read_record(Visit, row.id, row.record))
        except StoreDamaged:  # nothing can be found in it; it is reported where it is opened
            continue
        refresh_outcomes(connection, row.id)
