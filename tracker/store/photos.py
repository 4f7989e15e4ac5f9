"""Photos: their records, and the pictures themselves."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, delete, insert, select, update

from tracker.errors import Conflict
from tracker.records import PhotoRecord
from tracker.store import schema
from tracker.store.database import Database, find, missing, require_measuring, stored
from tracker.store.drafts import remove_draft
from tracker.store.rows import photo_row, read_records


class Photos(Database):
    """The part of the store that keeps photos."""

    def put_picture(self, content: bytes) -> str:
        """Keep a picture. One that no record names is removed at a later start.

        Parameters
        ----------
        content : bytes of a clean JPEG

        Returns
        -------
        str : SHA-256 of the content, the picture's name; the same content is kept once

        Raises
        ------
        StoreFull : over the quota, or no room on the disk
        """
        return self._pictures.put(content)

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

    def save_photo(self, photo: PhotoRecord, *, draft_id: str | None = None) -> PhotoRecord:
        """Keep a photo, new or changed.

        Parameters
        ----------
        photo : PhotoRecord
        draft_id : str or None, the draft that it was put together in, removed in the same transaction.
            Where that draft is gone and the photo is there, it was saved before: nothing is changed.

        Returns
        -------
        PhotoRecord : as it is kept

        Raises
        ------
        Conflict : the photo belongs to another client
        ConsentMissing : the client does not agree to being measured
        NotFound : no such client or visit, or the picture is not there
        """
        with self._writing() as connection:
            if draft_id is not None and _saved_before(connection, photo.id, draft_id):
                return find(connection, PhotoRecord, photo.id)
            require_measuring(connection, photo.client_id)
            self._require_pictures([photo.file])
            dropped = write_photo(connection, photo)
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
        self, client_id: str | None = None, visit_id: str | None = None, role: str | None = None
    ) -> list[PhotoRecord]:
        """Photos that fit all that is given, in the order they were taken; damaged records are left out."""
        query = select(schema.photo).order_by(schema.photo.c.taken_at, schema.photo.c.id)
        for column, value in (
            (schema.photo.c.client_id, client_id),
            (schema.photo.c.visit_id, visit_id),
            (schema.photo.c.role, role),
        ):
            if value is not None:
                query = query.where(column == value)
        with self._reading() as connection:
            return list(read_records(PhotoRecord, connection.execute(query)))

    def delete_photo(self, photo_id: str) -> None:
        """Remove a photo and its picture.

        Raises
        ------
        NotFound
        """
        with self._writing() as connection:
            file = stored(connection, schema.photo.c.file, photo_id)
            if file is None:
                raise missing("photo")
            connection.execute(delete(schema.photo).where(schema.photo.c.id == photo_id))
        self._tidy_files([file])


def write_photo(connection: Connection, photo: PhotoRecord) -> set[str]:
    """Insert or replace a photo's record; returns the picture that it named before, if any.

    Raises
    ------
    Conflict : the photo belongs to another client
    """
    table = schema.photo
    kept = connection.execute(select(table.c.client_id, table.c.file).where(table.c.id == photo.id)).one_or_none()
    if kept is None:
        connection.execute(insert(table), photo_row(photo))
        return set()
    if kept.client_id != photo.client_id:
        raise Conflict("This photo belongs to another client.", "Open the client again.")
    connection.execute(update(table).where(table.c.id == photo.id).values(photo_row(photo)))
    return {kept.file}


def _saved_before(connection: Connection, photo_id: str, draft_id: str) -> bool:
    photo_there = stored(connection, schema.photo.c.id, photo_id) is not None
    return photo_there and stored(connection, schema.draft.c.id, draft_id) is None
