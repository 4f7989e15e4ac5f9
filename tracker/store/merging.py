"""Make two records of the same client one."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, delete, func, insert, or_, select, update

from tracker.errors import Conflict
from tracker.record.records import CONSENT_VERSION, Client, Consent, new_id, now
from tracker.store import schema
from tracker.store.consents import differing_answers
from tracker.store.edits import MERGED, edit_line
from tracker.store.lookup import find, stored
from tracker.store.rows import Row, client_row, consent_row, time_text


@dataclass(frozen=True, slots=True)
class Merged:
    """What a merge did.

    Attributes
    ----------
    client : Client, the record that stays
    to_ask_again : purposes that one record agreed to and the other did not: they count as not agreed until the client
        is asked again
    """

    client: Client
    to_ask_again: tuple[str, ...]


def merge(connection: Connection, kept: Client, other_id: str, by: str, told: list[Row]) -> Merged:
    """As `Clients.merge`, inside the transaction; the lines for the log of edits are added to `told`."""
    if kept.id == other_id:
        raise Conflict("A record cannot be merged with itself.", "Choose the other record of the client.")
    before, other = find(connection, Client, kept.id), find(connection, Client, other_id)
    if before.demo != other.demo:
        raise Conflict("A made-up client cannot be merged with a real one.", "Choose two records of the same kind.")
    told += [
        edit_line("client", each, kept.id, MERGED, stored(connection, schema.client.c.record, each))
        for each in (other.id, kept.id)
    ]
    differing = differing_answers(connection, kept.id, other_id)
    for name in _tables_of_clients():
        _move(connection, name, other_id, kept.id)
    for purpose in differing:
        answer = Consent(new_id(), kept.id, purpose, False, CONSENT_VERSION, now(), by)
        connection.execute(insert(schema.consent), consent_row(answer))
    client = replace(kept, created_at=min(before.created_at, other.created_at), demo=before.demo)
    connection.execute(update(schema.client).where(schema.client.c.id == kept.id).values(client_row(client)))
    connection.execute(delete(schema.client).where(schema.client.c.id == other_id))
    line = {"client_id": other_id, "into_id": kept.id, "merged_at": time_text(now())}
    connection.execute(insert(schema.merge), line)
    return Merged(client, differing)


def merged_into(connection: Connection, client_id: str) -> set[str]:
    """Identifiers of all records that became part of this one."""
    found: set[str] = set()
    fresh = {client_id}
    while fresh:
        query = select(schema.merge.c.client_id).where(schema.merge.c.into_id.in_(fresh))
        fresh = set(connection.execute(query).scalars()) - found
        found |= fresh
    return found


def _tables_of_clients() -> Iterable[str]:
    """Every table whose rows say whose they are and are not worked out again, parents first."""
    stay = {"erasure", "merge", "wear", "refresh"}
    tables = schema.metadata.sorted_tables
    return [table.name for table in tables if "client_id" in table.columns and table.name not in stay]


def _move(connection: Connection, name: str, source: str, target: str) -> None:
    """Make the rows of a table another client's, in their columns and in all their JSON."""
    table = schema.metadata.tables[name]
    texts = [column for column in table.columns if column.name in ("record", "before")]
    # a photo names its visit together with the client: both change before the transaction ends
    connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
    keys = list(table.primary_key.columns)
    for text in texts:
        query = select(*keys, text).where(table.c.client_id == source, or_(func.instr(text, source) > 0))
        for row in connection.execute(query).all():
            same = [key == value for key, value in zip(keys, row[:-1], strict=True)]
            changed = update(table).where(*same).values({text.name: _renamed(row[-1], source, target)})
            connection.execute(changed)
    connection.execute(update(table).where(table.c.client_id == source).values(client_id=target))


def _renamed(text: str, source: str, target: str) -> str:
    """JSON with the identifier replaced wherever it names an owner; text that is not JSON is left as it is."""
    try:
        value = json.loads(text)
    except ValueError:
        return text
    return json.dumps(_replaced(value, source, target), ensure_ascii=False, separators=(",", ":"))


def _replaced(value: Any, source: str, target: str) -> Any:
    if isinstance(value, dict):
        # earlier states of the record that goes keep its identifier: the log of edits finds them by it
        return {name: inner if name == "id" else _replaced(inner, source, target) for name, inner in value.items()}
    if isinstance(value, list):
        return [_replaced(inner, source, target) for inner in value]
    return target if value == source else value
