"""Consents: every answer of a client, and which one counts."""

from __future__ import annotations

from sqlalchemy import Connection, insert, select

from tracker.errors import ConsentMissing
from tracker.record.records import PURPOSES, Consent
from tracker.store import schema
from tracker.store.lookup import agreed, latest_answer, require_client, require_measuring
from tracker.store.part import Part
from tracker.store.rows import consent_row


class Consents(Part):
    """The part of the store that keeps answers."""

    def add(self, consent: Consent) -> Consent:
        """Keep one more answer; earlier ones stay.

        Raises
        ------
        NotFound : no such client
        ConsentMissing : the answer does not say which wording was read
        """
        with self._database.writing(consent.recorded_by) as connection:
            require_client(connection, consent.client_id)
            connection.execute(insert(schema.consent), consent_row(checked(consent)))
        return consent

    def of_client(self, client_id: str) -> list[Consent]:
        """All answers of a client in the order they were given, newest last."""
        answers = schema.consent
        query = (
            select(answers.c.id, answers.c.record).where(answers.c.client_id == client_id).order_by(answers.c.number)
        )
        return self._database.records(Consent, query)

    def given(self, client_id: str, purpose: str) -> bool:
        """Whether the client's latest answer for that purpose is yes."""
        with self._database.reading() as connection:
            return agreed(connection, client_id, purpose)

    def require_measuring(self, client_id: str) -> None:
        """As `lookup.require_measuring`."""
        with self._database.reading() as connection:
            require_measuring(connection, client_id)

    def differing(self, client_id: str, other_id: str) -> tuple[str, ...]:
        """Purposes that one of two records agrees to and the other does not."""
        with self._database.reading() as connection:
            return differing_answers(connection, client_id, other_id)


def differing_answers(connection: Connection, client_id: str, other_id: str) -> tuple[str, ...]:
    """Purposes with a yes in force in one and a no in the other; a client never asked has given no answer."""
    both = (client_id, other_id)
    return tuple(
        purpose for purpose in PURPOSES if {latest_answer(connection, each, purpose) for each in both} == {True, False}
    )


def checked(consent: Consent) -> Consent:
    """The answer itself, if it says what was asked.

    Raises
    ------
    ConsentMissing
    """
    if consent.purpose not in PURPOSES or not consent.wording_version or not consent.recorded_by:
        raise ConsentMissing(
            "The answer does not say what was asked, in which wording, and by whom.",
            "Record it again from the client's page.",
        )
    return consent
