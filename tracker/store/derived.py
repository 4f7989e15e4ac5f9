"""What old records lack after an upgrade: the words of visits, and what came of them."""

from __future__ import annotations

from sqlalchemy import Connection, select

from tracker.store import schema
from tracker.store.outcomes import refresh_outcomes
from tracker.store.searching import refresh_words


def rebuild(connection: Connection) -> None:
    """Work out what is missing; run after an upgrade, in its transaction.

    A revision that changes what is derived empties `visit_text` and `outcome`.
    """
    known = select(schema.visit_text.c.visit_id)
    visits = select(schema.visit.c.id).where(schema.visit.c.id.not_in(known))
    refresh_outcomes(connection, visits)
    refresh_words(connection, visits)
