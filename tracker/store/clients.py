"""Clients: who they are, and who has not been in for a long time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Select, func, insert, select, update

from tracker.record.records import Client, Consent
from tracker.store import schema
from tracker.store.consents import checked
from tracker.store.lookup import find
from tracker.store.merging import Merged, merge
from tracker.store.rows import Row, client_row, consent_row, readable, search_text
from tracker.store.undo import DeletingPart


@dataclass(frozen=True, slots=True)
class ClientSummary:
    """A client as a list shows them.

    Attributes
    ----------
    client : Client
    visits : int, how many
    last_visit : date of the latest visit, or None
    last_photo_id : str or None, of the photo that was taken last
    """

    client: Client
    visits: int
    last_visit: date | None
    last_photo_id: str | None


@dataclass(frozen=True, slots=True)
class Absent:
    """A client who has not been seen for a long time.

    Attributes
    ----------
    client : Client
    last_seen : date of the latest visit or photo, or of being added
    """

    client: Client
    last_seen: date


class Clients(DeletingPart):
    """The part of the store that keeps clients."""

    def add(self, client: Client, consents: Sequence[Consent] = ()) -> Client:
        """Keep a new client together with their first answers.

        Raises
        ------
        Conflict : the identifier is taken
        ConsentMissing : an answer does not say which wording was read
        """
        with self._database.writing() as connection:
            connection.execute(insert(schema.client), client_row(client))
            for consent in consents:
                connection.execute(insert(schema.consent), consent_row(checked(consent)))
        return client

    def change(self, client_id: str, change: Callable[[Client], Client], *, by: str = "") -> Client:
        """Change what is noted about a client; what was there before stays in the log of edits.

        Parameters
        ----------
        change : makes the client as it should be from the client as kept, within the transaction; may raise
        by : str, who changes it

        Raises
        ------
        NotFound, StoreDamaged
        """
        with self._database.writing(by) as connection:
            kept = find(connection, Client, client_id)
            changed = change(kept)
            if changed != kept:
                row = client_row(changed)
                connection.execute(update(schema.client).where(schema.client.c.id == client_id).values(row))
        return changed

    def get(self, client_id: str) -> Client:
        """One client.

        Raises
        ------
        NotFound, StoreDamaged
        """
        return self._database.one(Client, client_id)

    def summaries(self, search: str = "") -> list[ClientSummary]:
        """Clients by name, each with what a list shows about them; damaged records are left out.

        Parameters
        ----------
        search : str, part of the name or the note; case and accents do not matter
        """
        query = _summaries()
        if search.strip():
            query = query.where(func.instr(schema.client.c.search, search_text(search.strip())) > 0)
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        return [summary for row in rows if (summary := _summary(row)) is not None]

    def ids(self) -> list[str]:
        """Identifiers of all clients, including those with damaged records."""
        with self._database.reading() as connection:
            return list(connection.execute(select(schema.client.c.id).order_by(schema.client.c.id)).scalars())

    def demo_ids(self) -> list[str]:
        """Identifiers of the made-up clients of the demo."""
        with self._database.reading() as connection:
            return list(connection.execute(select(schema.client.c.id).where(schema.client.c.demo)).scalars())

    def merge(self, kept: Client, other_id: str, *, by: str) -> Merged:
        """Move everything of one client into another's record, all in one transaction.

        The log of edits says what both records were before, and keeps the earlier states of the other.

        Parameters
        ----------
        kept : Client, the record that stays, with its name and notes as they should be
        other_id : str, the record that goes
        by : str, who merges; named with the answers that must be asked for again

        Raises
        ------
        NotFound : one of them is not there
        StoreDamaged : one of them cannot be read
        Conflict : both are the same, or one of them is made up for the demo and the other is not
        """
        told: list[Row] = []
        with self._database.writing(by, told) as connection:
            merged = merge(connection, kept, other_id, by, told)
        self._deletions.forget_clients([other_id])
        return merged

    def not_seen_since(self, day: date) -> list[Absent]:
        """Clients last seen before a day, longest absence first; damaged records are left out. Nothing is deleted."""
        client, visit, photo = schema.client, schema.visit, schema.photo
        visits = (
            select(visit.c.client_id, func.max(visit.c.on_date).label("day")).group_by(visit.c.client_id).subquery()
        )
        taken = func.date(func.max(photo.c.taken_at), "localtime").label("day")
        photos = select(photo.c.client_id, taken).group_by(photo.c.client_id).subquery()
        added = func.date(func.json_extract(client.c.record, "$.created_at"), "localtime")
        last = func.coalesce(func.max(visits.c.day, photos.c.day), visits.c.day, photos.c.day, added)
        query = (
            select(client.c.id, client.c.record, last.label("last_seen"))
            .outerjoin(visits, visits.c.client_id == client.c.id)
            .outerjoin(photos, photos.c.client_id == client.c.id)
            .where(func.json_valid(client.c.record), last < day.isoformat())
            .order_by(last, client.c.id)
        )
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        return [
            Absent(kept, date.fromisoformat(row.last_seen))
            for row in rows
            if (kept := readable(Client, row.id, row.record)) is not None
        ]


def _summaries() -> Select[Any]:
    """One query for everything that a list of clients shows."""
    client, photo, visit = schema.client, schema.photo, schema.visit
    visits = (
        select(visit.c.client_id, func.count().label("visits"), func.max(visit.c.on_date).label("last_visit"))
        .group_by(visit.c.client_id)
        .subquery()
    )
    newest_first = func.row_number().over(
        partition_by=photo.c.client_id, order_by=(photo.c.taken_at.desc(), photo.c.id.desc())
    )
    photos = select(photo.c.client_id, photo.c.id, newest_first.label("place")).subquery()
    return (
        select(client.c.id, client.c.record, visits.c.visits, visits.c.last_visit, photos.c.id.label("photo_id"))
        .outerjoin(visits, visits.c.client_id == client.c.id)
        .outerjoin(photos, (photos.c.client_id == client.c.id) & (photos.c.place == 1))
        .order_by(client.c.search, client.c.id)
    )


def _summary(row: Any) -> ClientSummary | None:
    client = readable(Client, row.id, row.record)
    if client is None:
        return None
    return ClientSummary(
        client=client,
        visits=row.visits or 0,
        last_visit=None if row.last_visit is None else date.fromisoformat(row.last_visit),
        last_photo_id=row.photo_id,
    )
