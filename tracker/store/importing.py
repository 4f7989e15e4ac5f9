"""Many records at once, from a list."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date

from sqlalchemy import func, insert, select

from tracker.record.records import Client, Visit
from tracker.store import schema
from tracker.store.edits import REMOVED
from tracker.store.part import Part
from tracker.store.rows import client_row, visit_row


class Importing(Part):
    """The part of the store that takes in lists."""

    def add(self, clients: Sequence[Client], visits: Sequence[Visit]) -> None:
        """Keep new clients and visits, all in one transaction.

        The clients have given no answers yet, and the visits have no photos: words alone need no agreement to being
        photographed; the first photo still does.

        Raises
        ------
        Conflict : an identifier is taken
        NotFound : a visit's client is not there
        """
        with self._database.writing() as connection:
            if clients:
                connection.execute(insert(schema.client), [client_row(client) for client in clients])
            if visits:
                connection.execute(insert(schema.visit), [visit_row(visit) for visit in visits])

    def client_names(self) -> dict[str, str]:
        """Name of every client whose record can be read, by identifier."""
        table = schema.client
        name = func.iif(func.json_valid(table.c.record), func.json_extract(table.c.record, "$.name"), None)
        with self._database.reading() as connection:
            rows = connection.execute(select(table.c.id, name.label("name"))).all()
        return {row.id: row.name for row in rows if isinstance(row.name, str)}

    def taken_ids(self) -> set[str]:
        """Identifiers that no record from a list may have: of clients and visits that are or were here."""
        queries = (
            select(schema.client.c.id),
            select(schema.visit.c.id),
            select(schema.erasure.c.client_id),
            select(schema.merge.c.client_id),
            select(schema.edit.c.record_id).where(schema.edit.c.what == REMOVED),
        )
        with self._database.reading() as connection:
            return {found for query in queries for found in connection.execute(query).scalars()}

    def visit_days(self) -> set[tuple[str, date, tuple[str, ...]]]:
        """Client, day and services, in lower case and sorted, of every visit."""
        table = schema.visit
        listed = (
            func.iif(func.json_valid(table.c.record), func.json_type(table.c.record, "$.services"), None) == "array"
        )
        services = func.iif(listed, func.json_extract(table.c.record, "$.services"), "[]")
        with self._database.reading() as connection:
            rows = connection.execute(select(table.c.client_id, table.c.on_date, services.label("services"))).all()
        return {
            (
                row.client_id,
                date.fromisoformat(row.on_date),
                tuple(sorted(" ".join(str(each).split()).casefold() for each in json.loads(row.services))),
            )
            for row in rows
        }
