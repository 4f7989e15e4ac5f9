"""Drafts: what is being put together and is not yet part of the record."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import Column, Connection, delete, insert, select, update

from tracker.errors import Conflict, DraftChanged, NotFound
from tracker.record.records import Draft, to_json
from tracker.store import schema
from tracker.store.edits import SET_ASIDE, edit_line
from tracker.store.lookup import find, require_client, require_measuring, stored
from tracker.store.rows import draft_row
from tracker.store.undo import DeletingPart, Deletion


class Drafts(DeletingPart):
    """The part of the store that keeps drafts."""

    def save(self, draft: Draft, *, apart: Draft | None = None) -> Draft:
        """Keep a draft.

        Parameters
        ----------
        draft : Draft; a new one with revision 0, or a changed one with the revision it was read with
        apart : Draft or None, another version of it, not chosen; it stays in the log of edits

        Returns
        -------
        Draft : as it is kept, with its revision

        Raises
        ------
        DraftChanged : it was saved since it was read; the error carries it as it is now
        Conflict : it was saved for good or thrown away since, or something in it belongs to another client
        ConsentMissing : it has photos, and the client does not agree to being measured
        NotFound : no such client, or a picture is not there
        """
        files = {photo.file for photo in draft.photos}
        told = [] if apart is None else [edit_line("draft", draft.id, draft.client_id, SET_ASIDE, to_json(apart))]
        with self._database.writing(told=told) as connection:
            _check_one_client(connection, draft)
            (require_measuring if draft.photos else require_client)(connection, draft.client_id)
            self._database.require_pictures(files)
            return _write_draft(connection, draft)

    def get(self, draft_id: str) -> Draft:
        """One draft.

        Raises
        ------
        NotFound, StoreDamaged
        """
        return self._database.one(Draft, draft_id)

    def find(self, client_id: str | None = None) -> list[Draft]:
        """Drafts, of one client or of all, last changed first; damaged records are left out."""
        query = select(schema.draft).order_by(schema.draft.c.updated_at.desc(), schema.draft.c.id)
        if client_id is not None:
            query = query.where(schema.draft.c.client_id == client_id)
        return self._database.records(Draft, query)

    def delete(self, draft_id: str) -> Deletion | None:
        """Remove a draft and the pictures that only it held, until `put_back`; None if it is already gone."""
        try:
            return self._deletions.delete(schema.draft, draft_id)
        except NotFound:
            return None


def require_unchanged(connection: Connection, draft_id: str, revision: int) -> None:
    """Check that nobody has saved the draft since it was read; one that is gone passes.

    Raises
    ------
    DraftChanged
    """
    kept = connection.execute(select(schema.draft.c.revision).where(schema.draft.c.id == draft_id)).scalar_one_or_none()
    if kept not in (None, revision):
        raise DraftChanged(find(connection, Draft, draft_id))


def take_over(
    connection: Connection, column: Column[str], identifier: str, draft_id: str | None, revision: int | None
) -> bool:
    """Remove the draft that a record was put together in; False where the record was saved from it before.

    Parameters
    ----------
    column : of the identifiers of such records
    identifier : str, of the record
    draft_id : str or None, None where there was no draft
    revision : int or None, of the draft that was read; None to take it as it is

    Raises
    ------
    DraftChanged : it was saved since
    """
    if draft_id is None:
        return True
    if stored(connection, column, identifier) is not None and stored(connection, schema.draft.c.id, draft_id) is None:
        return False
    if revision is not None:
        require_unchanged(connection, draft_id, revision)
    connection.execute(delete(schema.draft).where(schema.draft.c.id == draft_id))
    return True


def _check_one_client(connection: Connection, draft: Draft) -> None:
    owners = {draft.client_id, *(photo.client_id for photo in draft.photos)}
    if draft.visit is not None:
        owners.add(draft.visit.client_id)
    kept = stored(connection, schema.draft.c.client_id, draft.id)
    if len(owners) > 1 or kept not in (None, draft.client_id):
        raise Conflict("Something in this draft belongs to another client.", "Open the client and start again.")


def _write_draft(connection: Connection, draft: Draft) -> Draft:
    """Insert a draft, or replace the one kept if the revisions match."""
    raised = replace(draft, revision=draft.revision + 1)
    if stored(connection, schema.draft.c.id, draft.id) is None:
        if draft.revision:
            raise Conflict(
                "This was saved or thrown away in another window.", "Open it from the client's page to change it."
            )
        connection.execute(insert(schema.draft), draft_row(raised))
    else:
        require_unchanged(connection, draft.id, draft.revision)
        connection.execute(update(schema.draft).where(schema.draft.c.id == draft.id).values(draft_row(raised)))
        connection.execute(delete(schema.draft_file).where(schema.draft_file.c.draft_id == draft.id))
    files = {photo.file for photo in draft.photos}
    if files:
        connection.execute(insert(schema.draft_file), [{"draft_id": draft.id, "file": name} for name in sorted(files)])
    return raised
