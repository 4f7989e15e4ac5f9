"""One unit of work: what must follow from a save is worked out from the rows it wrote, before it commits.

The log of edits, the words of visits, what came of them, whose wear is out of date, and which pictures may go: no
saving method deals with any of it, so none can forget it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Select, delete, exists, or_, select, union

from tracker.store import schema
from tracker.store.edits import ANSWERED, CHANGED, REMOVED, edit_line, log_edits
from tracker.store.outcomes import refresh_outcomes
from tracker.store.rows import Row
from tracker.store.searching import refresh_words
from tracker.store.watching import GONE, NEW, written
from tracker.store.wearing import forget_wear

_LOGGED = ("client", "consent", "visit", "photo", "price")


def derive(connection: Connection, by: str, told: Sequence[Row] = ()) -> set[str]:
    """Work out what follows from the rows that the transaction wrote.

    Parameters
    ----------
    connection : Connection, inside the transaction that writes
    by : str, who saves; empty where nobody was named
    told : lines of the log for a change logged as a whole, instead of one line for each record

    Returns
    -------
    set of str : names of pictures that no record names any longer
    """
    kinds = set(connection.execute(select(written.c.kind).distinct()).scalars())
    log_edits(connection, told or list(_lines(connection)), by)
    if "visit" in kinds:
        refresh_words(connection, _visits())
    if kinds & {"visit", "photo"}:
        refresh_outcomes(connection, _visits_with_photos())
        forget_wear(connection, _clients())
    left = set(connection.execute(_left_pictures()).scalars()) if kinds & {"photo", "draft_file"} else set()
    if kinds:
        connection.execute(delete(written))
    return left


def rebuild(connection: Connection) -> None:
    """Work out the words and outcomes that are missing; run after an upgrade, in its transaction.

    A revision that changes what is derived empties `visit_text` and `outcome`.
    """
    known = select(schema.visit_text.c.visit_id)
    visits = select(schema.visit.c.id).where(schema.visit.c.id.not_in(known))
    refresh_outcomes(connection, visits)
    refresh_words(connection, visits)


def _lines(connection: Connection) -> Iterator[Row]:
    """One line for each record changed or removed, and for each answer of a client who was already there."""
    first: dict[tuple[str, str], Any] = {}
    last: dict[tuple[str, str], Any] = {}
    is_there = exists().where(schema.client.c.id == written.c.client_id)  # an erased client leaves no line
    query = select(written).where(written.c.kind.in_(_LOGGED), or_(written.c.client_id.is_(None), is_there))
    for row in connection.execute(query.order_by(written.c.number)):
        first.setdefault((row.kind, row.id), row)
        last[row.kind, row.id] = row
    for (kind, record_id), row in first.items():
        if kind == "consent":
            if row.what == NEW and ("client", row.client_id) not in first:
                yield edit_line(kind, record_id, row.client_id, ANSWERED)
        elif row.what != NEW:
            what = REMOVED if last[kind, record_id].what == GONE else CHANGED
            yield edit_line(kind, record_id, row.client_id, what, row.before)


def _visits() -> Select[Any]:
    """Visits that were written themselves."""
    return select(schema.visit.c.id).where(schema.visit.c.id.in_(_named("id", "visit")))


def _visits_with_photos() -> Select[Any]:
    """Visits that were written, or whose photos were, and that can have numbers or had some."""
    visit_id = schema.visit.c.id
    has_photos = exists().where(schema.photo.c.visit_id == visit_id)
    had_numbers = exists().where(schema.outcome.c.visit_id == visit_id)
    written_to = union(_named("visit_id", "visit", "photo"), _named("old_visit_id", "visit", "photo"))
    return select(visit_id).where(visit_id.in_(written_to), or_(has_photos, had_numbers))


def _clients() -> Select[Any]:
    """Existing clients whose visits or photos were written."""
    written_to = union(_named("client_id", "visit", "photo"), _named("old_client_id", "visit", "photo"))
    return select(schema.client.c.id).where(schema.client.c.id.in_(written_to))


def _left_pictures() -> Select[Any]:
    """Pictures that written rows held before, and that none holds now."""
    file = written.c.old_file
    held = or_(exists().where(schema.photo.c.file == file), exists().where(schema.draft_file.c.file == file))
    return select(file).where(file.is_not(None), ~held).distinct()


def _named(column: str, *kinds: str) -> Select[Any]:
    """What the written rows of these kinds have in a column."""
    return select(written.c[column]).where(written.c.kind.in_(kinds), written.c[column].is_not(None))
