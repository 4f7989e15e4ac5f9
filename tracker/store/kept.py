"""All rows that belong to one record, whatever tables there are: what goes with it, and what an export must hold.

The tables are found through their foreign keys, so that one added later is not forgotten.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import Connection, ForeignKeyConstraint, Select, Table, or_, select

from tracker.store import schema
from tracker.store.lookup import require_client
from tracker.store.part import Part
from tracker.store.rows import Row

Entry = dict[str, Any]
"""One record as plain JSON."""

_FOUND_AGAIN = frozenset({"search"})  # columns made from the record that say nothing more
_AT_ONCE = 200  # rows
_STUDIO_LISTS = frozenset({"erasure", "merge", "picture", "studio"})  # opaque identifiers, sizes and counters only


class Kept(Part):
    """The part of the store that hands out everything it has."""

    def of_client(self, client_id: str) -> dict[str, list[Entry]]:
        """Everything kept about a client, by the name of its table; damaged records as their text.

        Raises
        ------
        NotFound
        """
        with self._database.reading() as connection:
            require_client(connection, client_id)
            rows = held_by(connection, schema.client, [client_id])
        return _entries(rows)

    def kinds(self) -> list[str]:
        """Names of all tables that hold something to hand over, except the lists of opaque identifiers."""
        kinds = [table.name for table in schema.metadata.sorted_tables if table.name not in _STUDIO_LISTS]
        with self._database.reading() as connection:
            return [
                kind
                for kind in kinds
                if not _is_index(kind) and connection.execute(select(schema.metadata.tables[kind]).limit(1)).first()
            ]

    def entries(self, kind: str) -> Iterator[Entry]:
        """Everything of one kind, one after the other, so that a large studio fits into memory."""
        with self._database.reading() as connection:
            rows = connection.execution_options(yield_per=_AT_ONCE).execute(select(schema.metadata.tables[kind]))
            for row in rows:
                if _says(dict(row._mapping)):
                    yield _entry(dict(row._mapping))


def held_by(connection: Connection, table: Table, identifiers: Iterable[str]) -> dict[str, list[Row]]:
    """Rows with those identifiers, and all rows deleted with them.

    Parameters
    ----------
    table : Table with a column ``id``
    identifiers : of its rows

    Returns
    -------
    dict : name of the table to its rows, in an order in which they can be inserted again
    """
    found = {table.name: _rows(connection, select(table).where(table.c.id.in_(list(identifiers))))}
    for each in schema.metadata.sorted_tables:
        if each is table:
            continue
        links = [
            local.in_([row[foreign.name] for row in found[foreign.table.name]])
            for local, foreign in _links(each)
            if found.get(foreign.table.name)
        ]
        if links and (rows := _rows(connection, select(each).where(or_(*links)))):
            found[each.name] = rows
    return found


def _links(table: Table) -> Iterator[tuple[Any, Any]]:
    """For each foreign key that deletes a row with another: the column that names the other, and the column named."""
    for constraint in table.constraints:
        if isinstance(constraint, ForeignKeyConstraint) and constraint.ondelete == "CASCADE":
            pairs = [(element.parent, element.column) for element in constraint.elements]
            yield next((pair for pair in pairs if pair[1].name == "id"), pairs[0])


def _rows(connection: Connection, query: Select[Any]) -> list[Row]:
    return [dict(row._mapping) for row in connection.execute(query)]


def _entries(rows: dict[str, list[Row]]) -> dict[str, list[Entry]]:
    told = {name: [_entry(row) for row in found if _says(row)] for name, found in rows.items() if not _is_index(name)}
    return {name: entries for name, entries in told.items() if entries}


def _says(row: Row) -> bool:
    """False for a line that only waits for its record to be worked out."""
    return row.get("record", "") is not None


def _is_index(name: str) -> bool:
    """True for a table that only helps to find others."""
    table = schema.metadata.tables[name]
    return all(column.primary_key or column.name in _FOUND_AGAIN for column in table.columns)


def _entry(row: Row) -> Entry:
    """A row as it is given out: only the record if there is one, else the columns."""
    if isinstance(row.get("record"), str):
        record = _parsed(row["record"])
        return record if isinstance(record, dict) else {"id": row.get("id"), "damaged": record}
    return {name: _parsed(value) for name, value in row.items() if name not in _FOUND_AGAIN}


def _parsed(value: Any) -> Any:
    if not isinstance(value, str) or value[:1] not in ("{", "["):
        return value
    try:
        return json.loads(value)
    except ValueError:
        return value
