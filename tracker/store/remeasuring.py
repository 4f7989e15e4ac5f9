"""Photos whose readings an earlier version of the method made: which wait, which were left, and replacing a reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Select, delete, func, select
from sqlalchemy.dialects.sqlite import insert as upsert

from tracker.errors import Conflict
from tracker.record.records import MEASURING, PhotoRecord
from tracker.store import schema
from tracker.store.lookup import agreeing, find, require_measuring, stored
from tracker.store.part import Part
from tracker.store.photos import write_photo


@dataclass(frozen=True, slots=True)
class OlderReadings:
    """How many photos have a reading by an earlier version of the method.

    Attributes
    ----------
    waiting : int, those that can be measured again
    left : int, those that were left as they are, because a person has to look at them
    withdrawn : int, those of clients who do not agree to being measured
    clients_withdrawn : int, how many clients that are
    """

    waiting: int
    left: int
    withdrawn: int
    clients_withdrawn: int

    @property
    def all(self) -> int:
        """All of them."""
        return self.waiting + self.left + self.withdrawn


@dataclass(frozen=True, slots=True)
class LeftPhoto:
    """A photo that was left as it is.

    Attributes
    ----------
    why : str, code of the reason
    said : str, the reason as a sentence
    """

    photo_id: str
    why: str
    said: str


class Remeasuring(Part):
    """The part of the store that knows which readings are of an earlier version of the method."""

    def older(self, method: str, client_id: str | None = None) -> OlderReadings:
        """How many readings are not of that version, in the studio or of one client."""
        photo = schema.photo
        whole = _older(method, client_id)
        agreed = photo.c.client_id.in_(agreeing(MEASURING))
        clients = func.count(photo.c.client_id.distinct())
        with self._database.reading() as connection:
            waiting = connection.execute(_count(whole.where(agreed, ~_left(method)))).scalar_one()
            left = connection.execute(_count(whole.where(agreed, _left(method)))).scalar_one()
            query = whole.where(~agreed).with_only_columns(func.count(), clients)
            withdrawn, of = connection.execute(query).one()
        return OlderReadings(waiting, left, withdrawn, of)

    def waiting(self, method: str, client_id: str | None = None) -> list[str]:
        """Identifiers of the photos to be measured again, one client after the other, oldest first."""
        photo = schema.photo
        query = _older(method, client_id).where(photo.c.client_id.in_(agreeing(MEASURING)), ~_left(method))
        query = query.with_only_columns(photo.c.client_id, photo.c.taken_at, photo.c.id)
        with self._database.reading() as connection:
            # sorted here: the index that has the order has not the version
            return [row[2] for row in sorted(tuple(row) for row in connection.execute(query))]

    def left(self, method: str, client_id: str | None = None, limit: int = -1) -> list[LeftPhoto]:
        """Photos that were left as they are, of clients who agree to being measured; one client after the other."""
        photo, table = schema.photo, schema.not_remeasured
        query = (
            _older(method, client_id)
            .join(table, table.c.photo_id == photo.c.id)
            .where(table.c.method == method, photo.c.client_id.in_(agreeing(MEASURING)))
            .with_only_columns(photo.c.id, table.c.why, table.c.said)
            .order_by(photo.c.client_id, photo.c.taken_at, photo.c.id)
            .limit(limit)
        )
        with self._database.reading() as connection:
            return [LeftPhoto(row.id, row.why, row.said) for row in connection.execute(query)]

    def leave(self, photo_id: str, method: str, why: str, said: str) -> None:
        """Note that this version could not measure a photo again; nothing where the photo is gone."""
        values = {"method": method, "why": why, "said": said}
        with self._database.writing() as connection:
            if stored(connection, schema.photo.c.id, photo_id) is not None:
                fresh = upsert(schema.not_remeasured).values(photo_id=photo_id, **values)
                connection.execute(fresh.on_conflict_do_update(["photo_id"], set_=values))

    def try_again(self, client_id: str | None = None) -> None:
        """Forget which photos were left, in the studio or of one client: all that are older wait again."""
        table = schema.not_remeasured
        query = delete(table)
        if client_id is not None:
            of_client = select(schema.photo.c.id).where(schema.photo.c.client_id == client_id)
            query = query.where(table.c.photo_id.in_(of_client))
        with self._database.writing() as connection:
            connection.execute(query)

    def save(self, before: PhotoRecord, after: PhotoRecord, *, by: str = "") -> PhotoRecord:
        """Replace a photo by the same one measured again; what was there stays in the log of edits.

        Parameters
        ----------
        before : PhotoRecord, as it was read before it was measured

        Raises
        ------
        Conflict : it was changed meanwhile; nothing is written
        NotFound, StoreDamaged : it is gone, or its picture is
        ConsentMissing : the client does not agree to being measured
        """
        with self._database.writing(by) as connection:
            if find(connection, PhotoRecord, before.id) != before:
                raise Conflict("This photo was changed while it was measured again.", "Measure it again.")
            require_measuring(connection, after.client_id)
            self._database.require_pictures([after.file])
            write_photo(connection, after)
        return after


def _older(method: str, client_id: str | None) -> Select[tuple[Any]]:
    photo = schema.photo
    query = select(photo.c.id).where(photo.c.method != method)
    return query if client_id is None else query.where(photo.c.client_id == client_id)


def _left(method: str) -> ColumnElement[bool]:
    table = schema.not_remeasured
    return schema.photo.c.id.in_(select(table.c.photo_id).where(table.c.method == method))


def _count(query: Select[tuple[Any]]) -> Select[Any]:
    return query.with_only_columns(func.count())
