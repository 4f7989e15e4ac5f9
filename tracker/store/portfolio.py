"""What may be shown to other clients."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from sqlalchemy import Select, func, intersect, select

from tracker.errors import StoreDamaged
from tracker.records import AFTER, BEFORE, MEASURING, PORTFOLIO, PhotoRecord, Visit
from tracker.store import schema
from tracker.store.database import Database
from tracker.store.rows import read_record, read_records


@dataclass(frozen=True, slots=True)
class PortfolioEntry:
    """One visit as it may be shown.

    Attributes
    ----------
    client_id : str, opaque; the name is not here
    visit : Visit without the notes, which are the studio's own and may name the client
    before, after : PhotoRecord
    """

    client_id: str
    visit: Visit
    before: PhotoRecord
    after: PhotoRecord


class Portfolio(Database):
    """The part of the store that knows what may be shown."""

    def portfolio(self) -> list[PortfolioEntry]:
        """Visits with a before and an after of clients who agree to it now, newest visit first.

        Who takes back the agreement to be photographed takes back this one too.
        """
        visit, photo = schema.visit, schema.photo
        agreed = intersect(_agreeing(PORTFOLIO), _agreeing(MEASURING)).subquery()
        agreeing = select(agreed.c.client_id)
        visits = (
            select(visit.c.id, visit.c.record)
            .where(visit.c.client_id.in_(agreeing))
            .order_by(visit.c.on_date.desc(), visit.c.created_at.desc(), visit.c.id)
        )
        photos = (
            select(photo.c.id, photo.c.record)
            .where(photo.c.client_id.in_(agreeing), photo.c.visit_id.is_not(None), photo.c.role.in_((BEFORE, AFTER)))
            .order_by(photo.c.taken_at, photo.c.id)
        )
        with self._reading() as connection:
            visit_rows = connection.execute(visits).all()
            pairs = _pairs(read_records(PhotoRecord, connection.execute(photos)))
        return [
            PortfolioEntry(kept.client_id, _without_notes(kept), *pairs[kept.id])
            for row in visit_rows
            if row.id in pairs and (kept := _readable(row.id, row.record)) is not None
        ]


def _agreeing(purpose: str) -> Select[tuple[str]]:
    """Clients whose latest answer to this question is yes."""
    consent = schema.consent
    latest = select(func.max(consent.c.number)).where(consent.c.purpose == purpose).group_by(consent.c.client_id)
    return select(consent.c.client_id).where(consent.c.number.in_(latest), consent.c.given)


def _pairs(photos: Iterable[PhotoRecord]) -> dict[str, tuple[PhotoRecord, PhotoRecord]]:
    """Per visit one before and one after: the first that was measured, else the first."""
    groups: dict[tuple[str | None, str], list[PhotoRecord]] = {}
    for photo in photos:
        groups.setdefault((photo.visit_id, photo.role), []).append(photo)
    best = {key: next(filter(_is_measured, group), group[0]) for key, group in groups.items()}
    return {
        visit_id: (before, best[visit_id, AFTER])
        for (visit_id, role), before in best.items()
        if visit_id is not None and role == BEFORE and (visit_id, AFTER) in best
    }


def _is_measured(photo: PhotoRecord) -> bool:
    return photo.reading is not None and photo.reading.ok


def _readable(visit_id: str, text: str) -> Visit | None:
    try:
        return read_record(Visit, visit_id, text)
    except StoreDamaged:
        return None


def _without_notes(visit: Visit) -> Visit:
    steps = tuple(replace(step, note="") for step in visit.steps)
    return replace(visit, note="", next_time="", steps=steps)
