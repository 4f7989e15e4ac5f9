"""Drafts: what is being put together and is not yet part of the record."""

from __future__ import annotations

from sqlalchemy import Connection, delete, insert, select, update

from tracker.errors import Conflict
from tracker.records import Draft
from tracker.store import schema
from tracker.store.database import require_client, require_measuring, stored
from tracker.store.rows import draft_row, read_records
from tracker.store.undo import Deletion, Undoing


class Drafts(Undoing):
    """The part of the store that keeps drafts."""

    def save_draft(self, draft: Draft) -> Draft:
        """Keep a draft, new or changed; the last one saved counts.

        Raises
        ------
        Conflict : the draft, its visit or one of its photos belongs to another client
        ConsentMissing : it has photos, and the client does not agree to being measured
        NotFound : no such client, or a picture is not there
        """
        files = {photo.file for photo in draft.photos}
        with self._writing() as connection:
            _check_one_client(connection, draft)
            (require_measuring if draft.photos else require_client)(connection, draft.client_id)
            self._require_pictures(files)
            dropped = _write_draft(connection, draft)
        self._tidy_files(dropped)
        return draft

    def draft(self, draft_id: str) -> Draft:
        """One draft.

        Raises
        ------
        NotFound, StoreDamaged
        """
        return self._one(Draft, draft_id)

    def drafts(self, client_id: str | None = None) -> list[Draft]:
        """Drafts, of one client or of all, last changed first; damaged records are left out."""
        query = select(schema.draft).order_by(schema.draft.c.updated_at.desc(), schema.draft.c.id)
        if client_id is not None:
            query = query.where(schema.draft.c.client_id == client_id)
        with self._reading() as connection:
            return list(read_records(Draft, connection.execute(query)))

    def delete_draft(self, draft_id: str) -> Deletion | None:
        """Remove a draft and the pictures that only it held, until `put_back`; None where it is gone already."""
        with self._writing() as connection:
            if stored(connection, schema.draft.c.id, draft_id) is None:
                return None
            with self._deleting(connection, schema.draft, draft_id) as deletion:
                dropped = remove_draft(connection, draft_id)
        self._tidy_files(dropped)
        return deletion


def remove_draft(connection: Connection, draft_id: str) -> set[str]:
    """Remove a draft's rows; returns the pictures that it held."""
    held = _files_of(connection, draft_id)
    connection.execute(delete(schema.draft).where(schema.draft.c.id == draft_id))
    return held


def _check_one_client(connection: Connection, draft: Draft) -> None:
    owners = {draft.client_id, *(photo.client_id for photo in draft.photos)}
    if draft.visit is not None:
        owners.add(draft.visit.client_id)
    kept = stored(connection, schema.draft.c.client_id, draft.id)
    if len(owners) > 1 or kept not in (None, draft.client_id):
        raise Conflict("Something in this draft belongs to another client.", "Open the client and start again.")


def _write_draft(connection: Connection, draft: Draft) -> set[str]:
    """Insert or replace a draft; returns the pictures that it held before."""
    held = _files_of(connection, draft.id)
    if stored(connection, schema.draft.c.id, draft.id) is None:
        connection.execute(insert(schema.draft), draft_row(draft))
    else:
        connection.execute(update(schema.draft).where(schema.draft.c.id == draft.id).values(draft_row(draft)))
        connection.execute(delete(schema.draft_file).where(schema.draft_file.c.draft_id == draft.id))
    files = {photo.file for photo in draft.photos}
    if files:
        connection.execute(insert(schema.draft_file), [{"draft_id": draft.id, "file": name} for name in sorted(files)])
    return held


def _files_of(connection: Connection, draft_id: str) -> set[str]:
    table = schema.draft_file
    return set(connection.execute(select(table.c.file).where(table.c.draft_id == draft_id)).scalars())
