"""Photos: their records."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, delete, func, insert, select, update

from tracker.errors import Conflict
from tracker.record.records import PhotoRecord
from tracker.store import schema
from tracker.store.drafts import take_over
from tracker.store.lookup import find, require_measuring, stored
from tracker.store.rows import photo_row, time_text
from tracker.store.undo import DeletingPart, Deletion


@dataclass(frozen=True, slots=True)
class CardUse:
    """What a photo with a number shows of its card.

    Attributes
    ----------
    taken_at : datetime
    camera : str, empty where unknown
    occasion : str, its visit, or its day
    exponent : float, of the correction
    grey, dark : float, reflectances that the correction used, 0..1
    dark_u : float or None, standard uncertainty of `dark`; None for the nominal value
    """

    taken_at: datetime
    camera: str
    occasion: str
    exponent: float
    grey: float
    dark: float
    dark_u: float | None


class Photos(DeletingPart):
    """The part of the store that keeps records of photos."""

    def save(
        self, photo: PhotoRecord, *, draft_id: str | None = None, draft_revision: int | None = None, by: str = ""
    ) -> PhotoRecord:
        """Keep a photo, new or changed.

        Parameters
        ----------
        draft_id : str or None, the draft that it was put together in, removed in the same transaction.
            If that draft is gone and the photo is there, it was already saved: nothing is changed.
        draft_revision : int or None, the revision of the draft that was read; None to take it as it is
        by : str, who saves it; what was there before stays in the log of edits

        Returns
        -------
        PhotoRecord : as it is kept

        Raises
        ------
        DraftChanged : the draft was saved in another window since it was read
        Conflict : the photo belongs to another client
        ConsentMissing : the client does not agree to being measured
        NotFound : no such client or visit, or the picture is not there
        """
        with self._database.writing(by) as connection:
            if not take_over(connection, schema.photo.c.id, photo.id, draft_id, draft_revision):
                return find(connection, PhotoRecord, photo.id)
            require_measuring(connection, photo.client_id)
            self._database.require_pictures([photo.file])
            write_photo(connection, photo)
        return photo

    def get(self, photo_id: str) -> PhotoRecord:
        """One photo.

        Raises
        ------
        NotFound, StoreDamaged
        """
        return self._database.one(PhotoRecord, photo_id)

    def has(self, photo_id: str) -> bool:
        """Whether the photo is there, readable or not."""
        with self._database.reading() as connection:
            return stored(connection, schema.photo.c.id, photo_id) is not None

    def find(
        self,
        client_id: str | None = None,
        visit_id: str | None = None,
        role: str | None = None,
        *,
        taken_from: datetime | None = None,
    ) -> list[PhotoRecord]:
        """Photos that match everything given, in the order they were taken; damaged records are left out."""
        table = schema.photo
        query = select(table.c.id, table.c.record).order_by(table.c.taken_at, table.c.id)
        if taken_from is not None:
            query = query.where(table.c.taken_at >= time_text(taken_from))
        for column, value in (
            (schema.photo.c.client_id, client_id),
            (schema.photo.c.visit_id, visit_id),
            (schema.photo.c.role, role),
        ):
            if value is not None:
                query = query.where(column == value)
        return self._database.records(PhotoRecord, query)

    def latest(self, role: str, limit: int) -> list[PhotoRecord]:
        """The latest photos of that role of all clients, newest first; damaged records are left out."""
        table = schema.photo
        query = (
            select(table.c.id, table.c.record)
            .where(table.c.role == role)
            .order_by(table.c.taken_at.desc(), table.c.id)
            .limit(limit)
        )
        return self._database.records(PhotoRecord, query)

    def cards(self, kind: str, role: str, limit: int) -> list[CardUse]:
        """What the latest photos of that role with a kind of card show of it, newest first.

        Photos of other cards count in `limit`, so that no more than so many records are looked into.

        Parameters
        ----------
        kind : str, of card
        role : str
        limit : int, how many photos are looked at
        """
        table = schema.photo
        latest = (
            select(table.c.record, table.c.taken_at)
            .where(table.c.role == role, table.c.method.is_not(None))
            .order_by(table.c.taken_at.desc())
            .limit(limit)
            .subquery()
        )

        def part(path: str) -> ColumnElement[Any]:
            return func.json_extract(latest.c.record, path)

        card = "$.reading.card"
        query = (
            select(
                latest.c.taken_at,
                part("$.camera"),
                part("$.visit_id"),
                part("$.reading.correction.exponent"),
                part(f"{card}.reflectance"),
                part(f"{card}.dark"),
                part(f"{card}.dark_u"),
            )
            .where(func.json_valid(latest.c.record) == 1, part(f"{card}.kind") == kind)
            .order_by(latest.c.taken_at.desc())
        )
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        return [
            CardUse(datetime.fromisoformat(when), camera or "", visit or when[:10], exponent, grey, dark, dark_u)
            for when, camera, visit, exponent, grey, dark, dark_u in rows
            if all(isinstance(value, float) and value > 0 for value in (exponent, grey, dark))
        ]

    def days(self, client_id: str, role: str) -> list[tuple[str, datetime]]:
        """Identifier and time of a client's photos of that role, newest first, without reading the records."""
        table = schema.photo
        query = (
            select(table.c.id, table.c.taken_at)
            .where(table.c.client_id == client_id, table.c.role == role)
            .order_by(table.c.taken_at.desc(), table.c.id)
        )
        with self._database.reading() as connection:
            return [(row.id, datetime.fromisoformat(row.taken_at)) for row in connection.execute(query)]

    def count(self) -> int:
        """How many photos the record holds."""
        with self._database.reading() as connection:
            return connection.execute(select(func.count()).select_from(schema.photo)).scalar_one()

    def delete(self, photo_id: str, *, by: str = "") -> Deletion:
        """Remove a photo, its picture, and what was kept of its earlier states; `put_back` brings it back.

        Raises
        ------
        NotFound
        """
        return self._deletions.delete(schema.photo, photo_id, by=by)


def write_photo(connection: Connection, photo: PhotoRecord) -> None:
    """Insert or replace a photo's record.

    Raises
    ------
    Conflict : the photo belongs to another client
    """
    table, not_remeasured = schema.photo, schema.not_remeasured
    connection.execute(delete(not_remeasured).where(not_remeasured.c.photo_id == photo.id))
    client_id = stored(connection, table.c.client_id, photo.id)
    if client_id is None:
        connection.execute(insert(table), photo_row(photo))
        return
    if client_id != photo.client_id:
        raise Conflict("This photo belongs to another client.", "Open the client again.")
    connection.execute(update(table).where(table.c.id == photo.id).values(photo_row(photo)))
