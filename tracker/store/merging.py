"""Make two records of the same client one."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, delete, func, insert, or_, select, update

from tracker.errors import Conflict
from tracker.records import CONSENT_VERSION, PURPOSES, Client, Consent, new_id, now
from tracker.store import schema
from tracker.store.database import find, stored
from tracker.store.edits import log_edit
from tracker.store.rows import client_row, consent_row, time_text
from tracker.store.undo import Undoing
from tracker.store.wearing import touch_wear

MERGED = "merged"


@dataclass(frozen=True, slots=True)
class Merged:
    """What a merge did.

    Attributes
    ----------
    client : Client, the record that is left
    visits, photos, drafts : int, how many came from the other record
    to_ask_again : purposes that one record agreed to and the other did not: they count as not agreed until the client
        is asked again
    """

    client: Client
    visits: int
    photos: int
    drafts: int
    to_ask_again: tuple[str, ...]


class Merging(Undoing):
    """The part of the store that merges records."""

    def answers_differ(self, client_id: str, other_id: str) -> tuple[str, ...]:
        """Purposes that one of two records agrees to and the other does not."""
        with self._reading() as connection:
            return _differing(connection, client_id, other_id)

    def merge_clients(self, kept: Client, other_id: str, *, by: str) -> Merged:
        """Move everything of one client into another one's record, all in one transaction.

        The log of edits says what both records were before, and what the other one was earlier.

        Parameters
        ----------
        kept : Client, the record that is left, with its name and notes as they shall be
        other_id : str, the record that goes
        by : str, who merges; named beside the answers that must be asked again

        Raises
        ------
        NotFound : one of them is not there
        StoreDamaged : one of them cannot be read
        Conflict : both are the same, or one of them is made up for the demo and the other is not
        """
        if kept.id == other_id:
            raise Conflict("A record cannot be merged with itself.", "Choose the other record of the client.")
        with self._writing() as connection:
            before, other = find(connection, Client, kept.id), find(connection, Client, other_id)
            if before.demo != other.demo:
                raise Conflict("A made-up client cannot be merged with a real one.", "Choose two records of one kind.")
            for each in (other.id, kept.id):
                was = stored(connection, schema.client.c.record, each)
                log_edit(connection, "client", each, kept.id, MERGED, by, was)
            differing = _differing(connection, kept.id, other_id)
            moved = {name: _move(connection, name, other_id, kept.id) for name in _tables_of_clients()}
            for purpose in differing:
                answer = Consent(new_id(), kept.id, purpose, False, CONSENT_VERSION, now(), by)
                connection.execute(insert(schema.consent), consent_row(answer))
            client = replace(kept, created_at=min(before.created_at, other.created_at), demo=before.demo)
            connection.execute(update(schema.client).where(schema.client.c.id == kept.id).values(client_row(client)))
            connection.execute(delete(schema.client).where(schema.client.c.id == other_id))
            line = {"client_id": other_id, "into_id": kept.id, "merged_at": time_text(now())}
            connection.execute(insert(schema.merge), line)
            touch_wear(connection, kept.id)
        self._forget_deleted([other_id])
        return Merged(client, moved["visit"], moved["photo"], moved["draft"], differing)


def merged_into(connection: Connection, client_id: str) -> set[str]:
    """Identifiers of all records that became part of this one."""
    found: set[str] = set()
    fresh = {client_id}
    while fresh:
        query = select(schema.merge.c.client_id).where(schema.merge.c.into_id.in_(fresh))
        fresh = set(connection.execute(query).scalars()) - found
        found |= fresh
    return found


def _differing(connection: Connection, client_id: str, other_id: str) -> tuple[str, ...]:
    """Purposes whose answers in force are a yes here and a no there; who was never asked gave no answer."""
    return tuple(
        purpose
        for purpose in PURPOSES
        if {_answer(connection, client_id, purpose), _answer(connection, other_id, purpose)} == {True, False}
    )


def _answer(connection: Connection, client_id: str, purpose: str) -> bool | None:
    table = schema.consent
    latest = (
        select(table.c.given)
        .where(table.c.client_id == client_id, table.c.purpose == purpose)
        .order_by(table.c.number.desc())
        .limit(1)
    )
    given: bool | None = connection.execute(latest).scalar_one_or_none()
    return given


def _tables_of_clients() -> Iterable[str]:
    """Every table whose rows say whose they are and that is not worked out anew, parents first."""
    stay = {"erasure", "merge", "wear", "refresh"}
    tables = schema.metadata.sorted_tables
    return [table.name for table in tables if "client_id" in table.columns and table.name not in stay]


def _move(connection: Connection, name: str, source: str, target: str) -> int:
    """Let the rows of a table belong to another client, in their columns and in every JSON they hold; how many."""
    table = schema.metadata.tables[name]
    texts = [column for column in table.columns if column.name in ("record", "before")]
    # a photo names its visit together with the client: both change before the transaction ends
    connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
    moved = connection.execute(select(func.count()).select_from(table).where(table.c.client_id == source)).scalar_one()
    keys = list(table.primary_key.columns)
    for text in texts:
        query = select(*keys, text).where(table.c.client_id == source, or_(func.instr(text, source) > 0))
        for row in connection.execute(query).all():
            same = [key == value for key, value in zip(keys, row[:-1], strict=True)]
            changed = update(table).where(*same).values({text.name: _renamed(row[-1], source, target)})
            connection.execute(changed)
    connection.execute(update(table).where(table.c.client_id == source).values(client_id=target))
    return moved


def _renamed(text: str, source: str, target: str) -> str:
    """JSON with the identifier replaced wherever it names whose something is; text that is no JSON as it is."""
    try:
        value = json.loads(text)
    except ValueError:
        return text
    return json.dumps(_replaced(value, source, target), ensure_ascii=False, separators=(",", ":"))


def _replaced(value: Any, source: str, target: str) -> Any:
    if isinstance(value, dict):
        # what the record that goes was at some time stays its own: the log of edits finds it by its identifier
        return {name: inner if name == "id" else _replaced(inner, source, target) for name, inner in value.items()}
    if isinstance(value, list):
        return [_replaced(inner, source, target) for inner in value]
    return target if value == source else value
