"""What may be shown to other clients."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import ColumnElement, Select, exists, func, intersect, select

from tracker.record.agreed import NOTHING_AGREED
from tracker.record.records import AFTER, BEFORE, MEASURING, PORTFOLIO, PhotoRecord, Visit
from tracker.store import schema
from tracker.store.lookup import NEWEST_FIRST, agreeing
from tracker.store.part import Part
from tracker.store.rows import read_records, readable


@dataclass(frozen=True, slots=True)
class PortfolioEntry:
    """One visit as it may be shown.

    Attributes
    ----------
    client_id : str, opaque; the name is not here
    visit : Visit without the notes, the client's words and the prices: they are nobody else's business, and may name
        the client
    before, after : PhotoRecord, one photo for each, for a small picture
    photos : all photos of both, before first, as the reading of each state is made of them
    """

    client_id: str
    visit: Visit
    before: PhotoRecord
    after: PhotoRecord
    photos: tuple[PhotoRecord, ...]


@dataclass(frozen=True, slots=True)
class PortfolioVisit:
    """One visit that may be shown, without its photos.

    Attributes
    ----------
    visit_id : str
    services : as the visit has them
    """

    visit_id: str
    services: tuple[str, ...]


class Portfolio(Part):
    """The part of the store that knows what may be shown."""

    def visits(self) -> list[PortfolioVisit]:
        """All visits that may be shown, newest first, without reading their photos; damaged ones are left out."""
        visit = schema.visit
        told = func.json_quote(func.json_extract(visit.c.record, "$.services"))
        services = func.iif(func.json_valid(visit.c.record), told, "null")
        query = (
            select(visit.c.id, services.label("services"))
            .where(visit.c.client_id.in_(_allowed()), _has_photo(BEFORE), _has_photo(AFTER))
            .order_by(*NEWEST_FIRST)
        )
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        found = ((row.id, _services(row.services)) for row in rows)
        return [PortfolioVisit(visit_id, services) for visit_id, services in found if services is not None]

    def entries(self, visit_ids: Sequence[str] | None = None) -> list[PortfolioEntry]:
        """Visits with a before and an after of clients who agree to it now, newest visit first.

        Withdrawing the agreement to be photographed withdraws this one too.

        Parameters
        ----------
        visit_ids : only these visits; None for all
        """
        visit, photo = schema.visit, schema.photo
        allowed = _allowed()
        visits = select(visit.c.id, visit.c.record).where(visit.c.client_id.in_(allowed)).order_by(*NEWEST_FIRST)
        photos = (
            select(photo.c.id, photo.c.record)
            .where(photo.c.client_id.in_(allowed), photo.c.visit_id.is_not(None), photo.c.role.in_((BEFORE, AFTER)))
            .order_by(photo.c.taken_at, photo.c.id)
        )
        if visit_ids is not None:
            visits = visits.where(visit.c.id.in_(visit_ids))
            photos = photos.where(photo.c.visit_id.in_(visit_ids))
        with self._database.reading() as connection:
            visit_rows = connection.execute(visits).all()
            pairs = _pairs(read_records(PhotoRecord, connection.execute(photos)))
        return [
            PortfolioEntry(kept.client_id, _without_notes(kept), *pairs[kept.id])
            for row in visit_rows
            if row.id in pairs and (kept := readable(Visit, row.id, row.record)) is not None
        ]


def _allowed() -> Select[tuple[str]]:
    """Clients whose photos may be shown."""
    agreed = intersect(agreeing(PORTFOLIO), agreeing(MEASURING)).subquery()
    return select(agreed.c.client_id)


def _has_photo(role: str) -> ColumnElement[bool]:
    """The visit of the query has a photo of that role."""
    photo = schema.photo
    return exists().where(photo.c.visit_id == schema.visit.c.id, photo.c.role == role)


def _pairs(photos: Iterable[PhotoRecord]) -> dict[str, tuple[PhotoRecord, PhotoRecord, tuple[PhotoRecord, ...]]]:
    """For each visit one before and one after, the first that counts, else the first; and all photos of both."""
    groups: dict[tuple[str | None, str], list[PhotoRecord]] = {}
    for photo in photos:
        groups.setdefault((photo.visit_id, photo.role), []).append(photo)
    return {
        visit_id: (_first(before), _first(after), (*before, *after))
        for (visit_id, role), before in groups.items()
        if visit_id is not None and role == BEFORE and (after := groups.get((visit_id, AFTER)))
    }


def _first(photos: list[PhotoRecord]) -> PhotoRecord:
    return next(filter(_counts, photos), photos[0])


def _counts(photo: PhotoRecord) -> bool:
    return photo.left_out is None and photo.reading is not None and photo.reading.ok


def _services(text: str) -> tuple[str, ...] | None:
    """Names of services from their JSON; None if they are not names."""
    try:
        found = json.loads(text.encode())
    except ValueError:
        return None
    return tuple(found) if isinstance(found, list) and all(isinstance(each, str) for each in found) else None


def _without_notes(visit: Visit) -> Visit:
    steps = tuple(replace(step, note="", charges=(), waste=None) for step in visit.steps)
    return replace(
        visit,
        note="",
        next_time="",
        history="",
        starting_point="",
        steps=steps,
        limits=NOTHING_AGREED,
        washes_per_week=None,
    )
