"""Visits, and the photos that belong to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import Connection, delete, insert, select, update

from tracker.errors import Conflict
from tracker.records import PhotoRecord, Visit, to_json
from tracker.store import schema
from tracker.store.database import find, missing, require_measuring, stored
from tracker.store.drafts import remove_draft, require_unchanged
from tracker.store.edits import CHANGED, REMOVED, forget_edits, log_edit, was_removed
from tracker.store.outcomes import refresh_outcomes
from tracker.store.photos import write_photo
from tracker.store.rows import read_records, visit_row
from tracker.store.searching import refresh_text
from tracker.store.undo import Deletion, Undoing
from tracker.store.wearing import touch_wear


class Visits(Undoing):
    """The part of the store that keeps visits."""

    def save_visit(
        self,
        visit: Visit,
        photos: Sequence[PhotoRecord],
        *,
        draft_id: str | None = None,
        draft_revision: int | None = None,
        by: str = "",
    ) -> Visit:
        """Keep a visit with its photos, all in one transaction.

        Parameters
        ----------
        visit : Visit; a new one, or a changed one with the revision it was read with
        photos : all photos of the visit; those kept before and not among them are removed
        draft_id : str or None, the draft that it was put together in, removed in the same transaction.
            Where that draft is gone and the visit is there, it was saved before: nothing is changed.
        draft_revision : int or None, the revision of the draft that was read; None to take it as it is
        by : str, who saves it; what was there before stays in the log of edits

        Returns
        -------
        Visit : as it is kept, with its revision

        Raises
        ------
        DraftChanged : the draft was saved in another window since it was read
        Conflict : the visit was changed or removed since it was read, or a photo belongs elsewhere
        ConsentMissing : the client does not agree to being measured
        NotFound : no such client, or a picture is not there
        """
        if any((photo.client_id, photo.visit_id) != (visit.client_id, visit.id) for photo in photos):
            raise Conflict("A photo belongs to another client or visit.", "Open the client again and take it anew.")
        with self._writing() as connection:
            if draft_id is not None and _saved_before(connection, visit.id, draft_id):
                return find(connection, Visit, visit.id)
            if draft_id is not None and draft_revision is not None:
                require_unchanged(connection, draft_id, draft_revision)
            require_measuring(connection, visit.client_id)
            self._require_pictures(photo.file for photo in photos)
            saved = _write_visit(connection, visit, by)
            dropped = _replace_photos(connection, saved, photos, by)
            refresh_text(connection, saved)
            refresh_outcomes(connection, saved.id)
            touch_wear(connection, saved.client_id)
            if draft_id is not None:
                dropped |= remove_draft(connection, draft_id)
        self._tidy_files(dropped)
        return saved

    def visit(self, visit_id: str) -> Visit:
        """One visit.

        Raises
        ------
        NotFound, StoreDamaged
        """
        return self._one(Visit, visit_id)

    def has_visit(self, visit_id: str) -> bool:
        """Whether the visit is there, readable or not."""
        with self._reading() as connection:
            return stored(connection, schema.visit.c.id, visit_id) is not None

    def visits(self, client_id: str) -> list[Visit]:
        """Visits of a client, newest first; damaged records are left out."""
        query = select(schema.visit).where(schema.visit.c.client_id == client_id).order_by(*_NEWEST_FIRST)
        with self._reading() as connection:
            return list(read_records(Visit, connection.execute(query)))

    def last_visit(self, client_id: str) -> Visit | None:
        """A client's latest visit; None where there is none, or it cannot be read."""
        query = select(schema.visit).where(schema.visit.c.client_id == client_id).order_by(*_NEWEST_FIRST).limit(1)
        with self._reading() as connection:
            return next(read_records(Visit, connection.execute(query)), None)

    def recent_visits(self, limit: int) -> list[Visit]:
        """The latest visits of all clients, newest first; damaged records are left out."""
        query = select(schema.visit).order_by(*_NEWEST_FIRST).limit(limit)
        with self._reading() as connection:
            return list(read_records(Visit, connection.execute(query)))

    def delete_visit(self, visit_id: str, *, by: str = "") -> Deletion:
        """Remove a visit with its photos and what was kept of their earlier states; `put_back` takes it back.

        Raises
        ------
        NotFound
        """
        with self._writing() as connection:
            files = _files_of(connection, visit_id)
            client_id = stored(connection, schema.visit.c.client_id, visit_id)
            if client_id is None:
                raise missing("visit")
            with self._deleting(connection, schema.visit, visit_id) as deletion:
                photos = select(schema.photo.c.id).where(schema.photo.c.visit_id == visit_id)
                for record_id in (visit_id, *connection.execute(photos).scalars().all()):
                    forget_edits(connection, record_id)
                connection.execute(delete(schema.visit).where(schema.visit.c.id == visit_id))
                log_edit(connection, "visit", visit_id, client_id, REMOVED, by, None)
                touch_wear(connection, client_id)
        self._tidy_files(files)
        return deletion


_NEWEST_FIRST = (schema.visit.c.on_date.desc(), schema.visit.c.created_at.desc(), schema.visit.c.id)


def _saved_before(connection: Connection, visit_id: str, draft_id: str) -> bool:
    visit_there = stored(connection, schema.visit.c.id, visit_id) is not None
    return visit_there and stored(connection, schema.draft.c.id, draft_id) is None


def _write_visit(connection: Connection, visit: Visit, by: str) -> Visit:
    """Insert a visit, or replace it where its revision is the one that is kept."""
    table = schema.visit
    kept = connection.execute(select(table).where(table.c.id == visit.id)).one_or_none()
    if kept is None and (visit.revision != 1 or was_removed(connection, visit.id)):
        raise Conflict("This visit was removed in another window.", "Go back to the client and start a new visit.")
    if kept is None:
        connection.execute(insert(table), visit_row(visit))
        return visit
    if kept.client_id != visit.client_id:
        raise Conflict("This visit belongs to another client.", "Open the client again.")
    if kept.revision != visit.revision:
        raise Conflict(
            "This visit was changed in another window since you opened it.",
            "Load it again and repeat your change; nothing of the other change is lost.",
        )
    log_edit(connection, "visit", visit.id, visit.client_id, CHANGED, by, kept.record)
    raised = replace(visit, revision=visit.revision + 1)
    connection.execute(update(table).where(table.c.id == visit.id).values(visit_row(raised)))
    return raised


def _replace_photos(connection: Connection, visit: Visit, photos: Sequence[PhotoRecord], by: str) -> set[str]:
    """Make these the photos of the visit; returns the pictures that were dropped.

    A damaged record stays: whoever saves never saw it, so cannot have meant to remove it.
    """
    query = select(schema.photo).where(schema.photo.c.visit_id == visit.id)
    before = list(read_records(PhotoRecord, connection.execute(query)))
    staying = {photo.id for photo in photos}
    for photo in before:
        if photo.id not in staying:
            log_edit(connection, "photo", photo.id, visit.client_id, REMOVED, by, to_json(photo))
            connection.execute(delete(schema.photo).where(schema.photo.c.id == photo.id))
    dropped = {photo.file for photo in before}
    for photo in photos:
        dropped |= write_photo(connection, photo, by)
    return dropped


def _files_of(connection: Connection, visit_id: str) -> set[str]:
    return set(connection.execute(select(schema.photo.c.file).where(schema.photo.c.visit_id == visit_id)).scalars())
