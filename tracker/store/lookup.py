"""Looking into the record inside a transaction: single rows, and the checks shared by everything that saves."""

from __future__ import annotations

from sqlalchemy import Column, Connection, Select, func, select, union

from tracker.errors import ConsentMissing, NotFound
from tracker.record.records import MEASURING
from tracker.store import schema
from tracker.store.rows import KINDS, Record, read_record

NEWEST_FIRST = (schema.visit.c.on_date.desc(), schema.visit.c.created_at.desc(), schema.visit.c.id)
"""The order of visits in a list."""


def find(connection: Connection, shape: type[Record], identifier: str) -> Record:
    """The record of that shape and identifier.

    Raises
    ------
    NotFound, StoreDamaged
    """
    table = schema.metadata.tables[KINDS[shape]]
    text = connection.execute(select(table.c.record).where(table.c.id == identifier)).scalar_one_or_none()
    if text is None:
        raise missing(KINDS[shape])
    return read_record(shape, identifier, text)


def missing(kind: str) -> NotFound:
    """The error for a record that is not there."""
    return NotFound(f"There is no such {kind}.", "It may have been removed in another window; load the page again.")


def stored(connection: Connection, column: Column[str], identifier: str) -> str | None:
    """One column of the row of that identifier, None where there is no row."""
    query = select(column).where(column.table.c.id == identifier)
    value: str | None = connection.execute(query).scalar_one_or_none()
    return value


def require_client(connection: Connection, client_id: str) -> None:
    """Check that the client is there, even if the record is damaged.

    Raises
    ------
    NotFound
    """
    if stored(connection, schema.client.c.id, client_id) is None:
        raise missing("client")


def agreed(connection: Connection, client_id: str, purpose: str) -> bool:
    """Whether the client's latest answer for that purpose is yes."""
    return bool(latest_answer(connection, client_id, purpose))


def latest_answer(connection: Connection, client_id: str, purpose: str) -> bool | None:
    """The client's latest answer for that purpose; None where they were never asked."""
    latest = (
        select(schema.consent.c.given)
        .where(schema.consent.c.client_id == client_id, schema.consent.c.purpose == purpose)
        .order_by(schema.consent.c.number.desc())
        .limit(1)
    )
    given: bool | None = connection.execute(latest).scalar_one_or_none()
    return given


def agreeing(purpose: str) -> Select[tuple[str]]:
    """Clients whose latest answer to this question is yes."""
    consent = schema.consent
    latest = select(func.max(consent.c.number)).where(consent.c.purpose == purpose).group_by(consent.c.client_id)
    return select(consent.c.client_id).where(consent.c.number.in_(latest), consent.c.given)


def require_measuring(connection: Connection, client_id: str) -> None:
    """Check that the client is there and agrees to being photographed and measured.

    Raises
    ------
    NotFound, ConsentMissing
    """
    require_client(connection, client_id)
    if not agreed(connection, client_id, MEASURING):
        raise ConsentMissing(
            "The client has not agreed to being photographed and measured.",
            "Read the statement to them and record the answer on the client's page.",
        )


def wanted_files(connection: Connection) -> set[str]:
    """Names of all pictures that a photo or a draft holds."""
    return set(connection.execute(union(select(schema.photo.c.file), select(schema.draft_file.c.file))).scalars())
