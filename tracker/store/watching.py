"""The database itself notes which rows a transaction writes, so that no saving code has to.

The notes are made by triggers that exist only in the connection and in memory: the database file knows nothing of them.
They also see what a foreign key deletes along with a row.
"""

from __future__ import annotations

import sqlite3
from typing import cast

from sqlalchemy import Column, Connection, Integer, MetaData, String, Table

from tracker.store import schema

NEW, CHANGED, GONE = "new", "changed", "gone"

WATCHED = (schema.client, schema.consent, schema.visit, schema.photo, schema.price, schema.draft_file)
"""Tables whose rows are logged, or that something is worked out from."""

written = Table(
    "written",
    MetaData(schema="temp"),
    Column("number", Integer, primary_key=True),  # the order of writing
    Column("kind", String),  # name of the table
    Column("what", String),  # `NEW`, `CHANGED` or `GONE`
    Column("id", String),
    Column("client_id", String),  # as it is now, or was if the row is gone; likewise the visit
    Column("visit_id", String),
    Column("old_client_id", String),  # as it was, empty for a new row; likewise the others
    Column("old_visit_id", String),
    Column("old_file", String),
    Column("before", schema.KeptText),  # the record's JSON as it was
)
"""The rows written by the current transaction, in memory; columns that a table lacks are empty."""


def watch(connection: sqlite3.Connection) -> None:
    """Have a connection to a studio's database note what is written through it."""
    notes = ", ".join(f"{column.name} TEXT" for column in written.columns if not column.primary_key)
    connection.execute(f"CREATE TEMP TABLE written (number INTEGER PRIMARY KEY, {notes})")
    for table in WATCHED:
        differs = " OR ".join(f"OLD.{column.name} IS NOT NEW.{column.name}" for column in table.columns)
        _note(connection, table, NEW, "INSERT", now="NEW", then=None)
        _note(connection, table, CHANGED, "UPDATE", now="NEW", then="OLD", when=f"WHEN {differs}")
        _note(connection, table, GONE, "DELETE", now="OLD", then="OLD")


def anything_written(connection: Connection) -> bool:
    """True if the transaction wrote a watched row and nothing has been worked out from it yet."""
    driver = cast("sqlite3.Connection", connection.connection.dbapi_connection)
    return driver.execute("SELECT 1 FROM temp.written LIMIT 1").fetchone() is not None


def _note(
    connection: sqlite3.Connection, table: Table, what: str, event: str, *, now: str, then: str | None, when: str = ""
) -> None:
    client_id = "id" if table is schema.client else "client_id"
    visit_id = "id" if table is schema.visit else "visit_id"
    asked: list[tuple[str | None, str]] = [(now, "id"), (now, client_id), (now, visit_id)]
    asked += [(then, client_id), (then, visit_id), (then, "file"), (then, "record")]
    values = [f"{row}.{name}" if row is not None and name in table.columns else "NULL" for row, name in asked]
    told = ", ".join([f"'{table.name}'", f"'{what}'", *values])
    head = f"CREATE TEMP TRIGGER {what}_{table.name} AFTER {event} ON main.{table.name} {when} BEGIN"
    columns = ", ".join(column.name for column in written.columns if not column.primary_key)
    connection.execute(" ".join((head, "INSERT INTO written (", columns, ") VALUES (", told, "); END")))
