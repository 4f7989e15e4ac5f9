"""Clients and their consents."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Select, func, insert, select, update

from tracker.errors import ConsentMissing, StoreDamaged
from tracker.records import PURPOSES, Client, Consent, to_json
from tracker.store import schema
from tracker.store.database import Database, agreed, find, require_client
from tracker.store.edits import ANSWERED, CHANGED, log_edit
from tracker.store.rows import client_row, consent_row, read_record, read_records, search_text


@dataclass(frozen=True, slots=True)
class LastPhoto:
    """A client's latest photo.

    Attributes
    ----------
    id : str, of the photo's record
    file : str, name of its picture
    """

    id: str
    file: str


@dataclass(frozen=True, slots=True)
class ClientSummary:
    """A client as a list shows them.

    Attributes
    ----------
    client : Client
    visits : int, how many
    last_visit : date of the latest visit, or None
    last_photo : the photo that was taken last, or None
    consents : purposes that the client agrees to now
    """

    client: Client
    visits: int
    last_visit: date | None
    last_photo: LastPhoto | None
    consents: frozenset[str]


class Clients(Database):
    """The part of the store that keeps clients and their consents."""

    def add_client(self, client: Client, consents: Sequence[Consent] = ()) -> Client:
        """Keep a new client together with their first answers.

        Raises
        ------
        Conflict : the identifier is taken
        ConsentMissing : an answer does not say which wording was read
        """
        with self._writing() as connection:
            connection.execute(insert(schema.client), client_row(client))
            for consent in consents:
                connection.execute(insert(schema.consent), consent_row(_checked(consent)))
        return client

    def change_client(self, client_id: str, change: Callable[[Client], Client], *, by: str = "") -> Client:
        """Change what is noted about a client; what was there before stays in the log of edits.

        Parameters
        ----------
        client_id : str
        change : gives the client as it shall be from the client as it is kept, within the transaction; may raise
        by : str, who changes it

        Raises
        ------
        NotFound, StoreDamaged
        """
        with self._writing() as connection:
            kept = find(connection, Client, client_id)
            changed = change(kept)
            if changed != kept:
                log_edit(connection, "client", client_id, client_id, CHANGED, by, to_json(kept))
                row = client_row(changed)
                connection.execute(update(schema.client).where(schema.client.c.id == client_id).values(row))
        return changed

    def client(self, client_id: str) -> Client:
        """One client.

        Raises
        ------
        NotFound, StoreDamaged
        """
        return self._one(Client, client_id)

    def clients(self, search: str = "") -> list[ClientSummary]:
        """Clients by name, each with what a list shows about them; damaged records are left out.

        Parameters
        ----------
        search : str, part of the name or the note; case and accents do not matter
        """
        query = _summaries()
        if search.strip():
            query = query.where(func.instr(schema.client.c.search, search_text(search.strip())) > 0)
        with self._reading() as connection:
            rows = connection.execute(query).all()
        return [summary for row in rows if (summary := _summary(row)) is not None]

    def client_ids(self) -> list[str]:
        """Identifiers of all clients, those with damaged records too."""
        with self._reading() as connection:
            return list(connection.execute(select(schema.client.c.id).order_by(schema.client.c.id)).scalars())

    def demo_clients(self) -> list[str]:
        """Identifiers of the made-up clients of the demo."""
        with self._reading() as connection:
            return list(connection.execute(select(schema.client.c.id).where(schema.client.c.demo)).scalars())

    def add_consent(self, consent: Consent) -> Consent:
        """Keep one more answer; earlier ones stay.

        Raises
        ------
        NotFound : no such client
        ConsentMissing : the answer does not say which wording was read
        """
        with self._writing() as connection:
            require_client(connection, consent.client_id)
            connection.execute(insert(schema.consent), consent_row(_checked(consent)))
            log_edit(connection, "consent", consent.id, consent.client_id, ANSWERED, consent.recorded_by, None)
        return consent

    def consents(self, client_id: str) -> list[Consent]:
        """All answers of a client in the order they were given, newest last."""
        answers = schema.consent
        query = (
            select(answers.c.id, answers.c.record).where(answers.c.client_id == client_id).order_by(answers.c.number)
        )
        with self._reading() as connection:
            return list(read_records(Consent, connection.execute(query)))

    def has_consent(self, client_id: str, purpose: str) -> bool:
        """Whether the client's latest answer for that purpose is yes."""
        with self._reading() as connection:
            return agreed(connection, client_id, purpose)


def _checked(consent: Consent) -> Consent:
    if consent.purpose not in PURPOSES or not consent.wording_version or not consent.recorded_by:
        raise ConsentMissing(
            "The answer does not say what was asked, in which wording, and by whom.",
            "Record it again from the client's page.",
        )
    return consent


def _summaries() -> Select[Any]:
    """One query for all that a list of clients shows."""
    client, consent, photo, visit = schema.client, schema.consent, schema.photo, schema.visit
    visits = (
        select(visit.c.client_id, func.count().label("visits"), func.max(visit.c.on_date).label("last_visit"))
        .group_by(visit.c.client_id)
        .subquery()
    )
    newest_first = func.row_number().over(
        partition_by=photo.c.client_id, order_by=(photo.c.taken_at.desc(), photo.c.id.desc())
    )
    photos = select(photo.c.client_id, photo.c.id, photo.c.file, newest_first.label("place")).subquery()
    latest = select(func.max(consent.c.number)).group_by(consent.c.client_id, consent.c.purpose)
    agreements = (
        select(consent.c.client_id, func.group_concat(consent.c.purpose).label("purposes"))
        .where(consent.c.number.in_(latest), consent.c.given)
        .group_by(consent.c.client_id)
        .subquery()
    )
    return (
        select(
            client.c.id,
            client.c.record,
            visits.c.visits,
            visits.c.last_visit,
            photos.c.id.label("photo_id"),
            photos.c.file,
            agreements.c.purposes,
        )
        .outerjoin(visits, visits.c.client_id == client.c.id)
        .outerjoin(photos, (photos.c.client_id == client.c.id) & (photos.c.place == 1))
        .outerjoin(agreements, agreements.c.client_id == client.c.id)
        .order_by(client.c.search, client.c.id)
    )


def _summary(row: Any) -> ClientSummary | None:
    try:
        client = read_record(Client, row.id, row.record)
    except StoreDamaged:
        return None
    return ClientSummary(
        client=client,
        visits=row.visits or 0,
        last_visit=None if row.last_visit is None else date.fromisoformat(row.last_visit),
        last_photo=None if row.photo_id is None else LastPhoto(row.photo_id, row.file),
        consents=frozenset((row.purposes or "").split(",")) - {""},
    )
