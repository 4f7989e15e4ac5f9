"""Visits, and the photos that belong to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import Connection, delete, insert, select, update

from tracker.errors import Conflict
from tracker.record.records import PhotoRecord, Visit
from tracker.store import schema
from tracker.store.drafts import take_over
from tracker.store.edits import was_removed
from tracker.store.lookup import NEWEST_FIRST, find, require_measuring, stored
from tracker.store.photos import write_photo
from tracker.store.rows import read_records, visit_row
from tracker.store.searching import Found, find_visits
from tracker.store.undo import DeletingPart, Deletion


class Visits(DeletingPart):
    """The part of the store that keeps visits."""

    def save(
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
            If that draft is gone and the visit is there, it was already saved: nothing is changed.
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
            raise Conflict(
                "A photo belongs to another client or visit.", "Open the client again and take it once more."
            )
        with self._database.writing(by) as connection:
            if not take_over(connection, schema.visit.c.id, visit.id, draft_id, draft_revision):
                return find(connection, Visit, visit.id)
            require_measuring(connection, visit.client_id)
            self._database.require_pictures(photo.file for photo in photos)
            saved = _write_visit(connection, visit)
            _replace_photos(connection, saved, photos)
        return saved

    def get(self, visit_id: str) -> Visit:
        """One visit.

        Raises
        ------
        NotFound, StoreDamaged
        """
        return self._database.one(Visit, visit_id)

    def has(self, visit_id: str) -> bool:
        """Whether the visit is there, readable or not."""
        with self._database.reading() as connection:
            return stored(connection, schema.visit.c.id, visit_id) is not None

    def of_client(self, client_id: str) -> list[Visit]:
        """Visits of a client, newest first; damaged records are left out."""
        query = select(schema.visit).where(schema.visit.c.client_id == client_id).order_by(*NEWEST_FIRST)
        return self._database.records(Visit, query)

    def last_of(self, client_id: str) -> Visit | None:
        """A client's latest visit; None where there is none, or it cannot be read."""
        query = select(schema.visit).where(schema.visit.c.client_id == client_id).order_by(*NEWEST_FIRST).limit(1)
        return next(iter(self._database.records(Visit, query)), None)

    def recent(self, limit: int) -> list[Visit]:
        """The latest visits of all clients, newest first; damaged records are left out."""
        query = select(schema.visit).order_by(*NEWEST_FIRST).limit(limit)
        return self._database.records(Visit, query)

    def find(self, search: str, limit: int = 30) -> tuple[list[Found], int]:
        """Visits that hold every word, newest first; the client's name and note may hold some of them, but not all.

        Parameters
        ----------
        search : str, words in any order; case and accents do not matter, numbers count as a whole
        limit : int, most visits that are read

        Returns
        -------
        list of Found, at most `limit`; damaged records are left out
        int : how many there are in all
        """
        return find_visits(self._database, search, limit)

    def delete(self, visit_id: str, *, by: str = "") -> Deletion:
        """Remove a visit with its photos and what was kept of their earlier states; `put_back` brings it back.

        Raises
        ------
        NotFound
        """
        return self._deletions.delete(schema.visit, visit_id, by=by)


def _write_visit(connection: Connection, visit: Visit) -> Visit:
    """Insert a visit, or replace the one kept if the revisions match."""
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
            "Load it again and repeat your change; none of the other change is lost.",
        )
    raised = replace(visit, revision=visit.revision + 1)
    connection.execute(update(table).where(table.c.id == visit.id).values(visit_row(raised)))
    return raised


def _replace_photos(connection: Connection, visit: Visit, photos: Sequence[PhotoRecord]) -> None:
    """Make these the photos of the visit.

    A damaged record stays: the person saving never saw it, so cannot have meant to remove it.
    """
    query = select(schema.photo).where(schema.photo.c.visit_id == visit.id)
    before = list(read_records(PhotoRecord, connection.execute(query)))
    staying = {photo.id for photo in photos}
    for photo in before:
        if photo.id not in staying:
            connection.execute(delete(schema.photo).where(schema.photo.c.id == photo.id))
    for photo in photos:
        write_photo(connection, photo)
