"""Photos: their records, and the pictures themselves."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, delete, func, insert, select, update

from tracker.errors import Conflict, StoreError
from tracker.records import PhotoRecord
from tracker.store import schema
from tracker.store.database import find, missing, require_measuring, stored
from tracker.store.drafts import remove_draft, require_unchanged
from tracker.store.edits import CHANGED, REMOVED, forget_edits, log_edit
from tracker.store.outcomes import refresh_outcomes
from tracker.store.pictures import name_of
from tracker.store.rows import photo_row, read_records, time_text
from tracker.store.undo import Deletion, Undoing
from tracker.store.wearing import touch_wear


class Photos(Undoing):
    """The part of the store that keeps photos."""

    def put_picture(self, content: bytes) -> str:
        """Keep a picture, to be named by a record soon: one that none names goes at an erasure or the next start.

        Parameters
        ----------
        content : bytes of a clean JPEG

        Returns
        -------
        str : SHA-256 of the content, the picture's name; the same content is kept once

        Raises
        ------
        StoreFull : the folder would hold more than it may, or no room on the disk
        """
        try:
            with self._writing() as connection:
                return self._keep_picture(connection, content)
        except StoreError:
            self._tidy_files([name_of(content)])
            raise

    def let_go(self, names: Iterable[str]) -> None:
        """Remove pictures that were put for records that did not come about; those that a record names stay."""
        self._tidy_files(names)

    def picture(self, name: str) -> bytes:
        """Content of a picture, checked against its name.

        Raises
        ------
        NotFound : there is no such picture
        StoreDamaged : its content is not what was kept
        """
        return self._pictures.get(name)

    def picture_path(self, name: str) -> Path:
        """Where a picture lies; its content is not checked.

        Raises
        ------
        NotFound : there is no such picture, or the name is no SHA-256 in hexadecimal
        """
        return self._pictures.path(name)

    def save_photo(
        self, photo: PhotoRecord, *, draft_id: str | None = None, draft_revision: int | None = None, by: str = ""
    ) -> PhotoRecord:
        """Keep a photo, new or changed.

        Parameters
        ----------
        photo : PhotoRecord
        draft_id : str or None, the draft that it was put together in, removed in the same transaction.
            Where that draft is gone and the photo is there, it was saved before: nothing is changed.
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
        with self._writing() as connection:
            if draft_id is not None and _saved_before(connection, photo.id, draft_id):
                return find(connection, PhotoRecord, photo.id)
            if draft_id is not None and draft_revision is not None:
                require_unchanged(connection, draft_id, draft_revision)
            require_measuring(connection, photo.client_id)
            self._require_pictures([photo.file])
            visits = {stored(connection, schema.photo.c.visit_id, photo.id), photo.visit_id} - {None}
            dropped = write_photo(connection, photo, by)
            for visit_id in visits:
                refresh_outcomes(connection, str(visit_id))
            touch_wear(connection, photo.client_id)
            if draft_id is not None:
                dropped |= remove_draft(connection, draft_id)
        self._tidy_files(dropped)
        return photo

    def photo(self, photo_id: str) -> PhotoRecord:
        """One photo.

        Raises
        ------
        NotFound, StoreDamaged
        """
        return self._one(PhotoRecord, photo_id)

    def photos(
        self,
        client_id: str | None = None,
        visit_id: str | None = None,
        role: str | None = None,
        *,
        taken_from: datetime | None = None,
    ) -> list[PhotoRecord]:
        """Photos that fit all that is given, in the order they were taken; damaged records are left out."""
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
        with self._reading() as connection:
            return list(read_records(PhotoRecord, connection.execute(query)))

    def latest_photos(self, role: str, limit: int) -> list[PhotoRecord]:
        """The latest photos of that role of all clients, newest first; damaged records are left out."""
        table = schema.photo
        query = (
            select(table.c.id, table.c.record)
            .where(table.c.role == role)
            .order_by(table.c.taken_at.desc(), table.c.id)
            .limit(limit)
        )
        with self._reading() as connection:
            return list(read_records(PhotoRecord, connection.execute(query)))

    def photo_days(self, client_id: str, role: str) -> list[tuple[str, datetime]]:
        """Identifier and time of a client's photos of that role, newest first, without reading the records."""
        table = schema.photo
        query = (
            select(table.c.id, table.c.taken_at)
            .where(table.c.client_id == client_id, table.c.role == role)
            .order_by(table.c.taken_at.desc(), table.c.id)
        )
        with self._reading() as connection:
            return [(row.id, datetime.fromisoformat(row.taken_at)) for row in connection.execute(query)]

    def photos_measured_otherwise(self, client_id: str, method: str) -> list[str]:
        """Identifiers of a client's photos whose reading another version of the method made, oldest first."""
        table = schema.photo
        version = func.json_extract(table.c.record, "$.reading.method_version")
        query = (
            select(table.c.id)
            .where(table.c.client_id == client_id, func.iif(func.json_valid(table.c.record), version, None) != method)
            .order_by(table.c.taken_at, table.c.id)
        )
        with self._reading() as connection:
            return list(connection.execute(query).scalars())

    def photo_count(self) -> int:
        """How many photos the record holds."""
        with self._reading() as connection:
            return connection.execute(select(func.count()).select_from(schema.photo)).scalar_one()

    def delete_photo(self, photo_id: str, *, by: str = "") -> Deletion:
        """Remove a photo, its picture, and what was kept of its earlier states; `put_back` takes it back.

        Raises
        ------
        NotFound
        """
        with self._writing() as connection:
            file = stored(connection, schema.photo.c.file, photo_id)
            if file is None:
                raise missing("photo")
            client_id = stored(connection, schema.photo.c.client_id, photo_id)
            visit_id = stored(connection, schema.photo.c.visit_id, photo_id)
            with self._deleting(connection, schema.photo, photo_id) as deletion:
                forget_edits(connection, photo_id)
                log_edit(connection, "photo", photo_id, client_id, REMOVED, by, None)
                connection.execute(delete(schema.photo).where(schema.photo.c.id == photo_id))
            if visit_id is not None:
                refresh_outcomes(connection, visit_id)
            touch_wear(connection, str(client_id))
        self._tidy_files([file])
        return deletion


def write_photo(connection: Connection, photo: PhotoRecord, by: str = "") -> set[str]:
    """Insert or replace a photo's record; returns the picture that it named before, if any.

    Raises
    ------
    Conflict : the photo belongs to another client
    """
    table = schema.photo
    kept = connection.execute(select(table).where(table.c.id == photo.id)).one_or_none()
    if kept is None:
        connection.execute(insert(table), photo_row(photo))
        return set()
    if kept.client_id != photo.client_id:
        raise Conflict("This photo belongs to another client.", "Open the client again.")
    row = photo_row(photo)
    if row["record"] != kept.record:
        log_edit(connection, "photo", photo.id, photo.client_id, CHANGED, by, kept.record)
    connection.execute(update(table).where(table.c.id == photo.id).values(row))
    return {kept.file}


def _saved_before(connection: Connection, photo_id: str, draft_id: str) -> bool:
    photo_there = stored(connection, schema.photo.c.id, photo_id) is not None
    return photo_there and stored(connection, schema.draft.c.id, draft_id) is None
