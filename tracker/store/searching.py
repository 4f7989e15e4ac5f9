"""Search over every word of every visit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, pairwise
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Select, delete, func, insert, or_, select

from tracker.record.records import AFTER, Client, Visit
from tracker.store import schema
from tracker.store.lookup import NEWEST_FIRST
from tracker.store.rows import Row, read_records, readable, search_text
from tracker.words import day

if TYPE_CHECKING:
    from tracker.store.database import Database

_AROUND = 7  # words shown on each side of what was found
_GAP = re.compile(r"(?<=\d)\s+(?=%|vol|min|g\b|oz\b|ml\b)")
_NUMBER = re.compile(r"\d+(?:[.,]\d+)*")

MOST_WORDS = 12
"""Most words of a search that count; further ones are ignored."""


@dataclass(frozen=True, slots=True)
class Found:
    """A visit in which something was found.

    Attributes
    ----------
    visit : Visit
    client : Client
    where : pairs of what it is, such as ``product in step 2``, and the words around what was found, as typed
    photo_id : str or None, a photo of the visit, one taken after the service where there is one
    """

    visit: Visit
    client: Client
    where: tuple[tuple[str, str], ...]
    photo_id: str | None


def find_visits(database: Database, search: str, limit: int) -> tuple[list[Found], int]:
    """As `Visits.find`."""
    typed = _units_joined(search_text(search)).split()[:MOST_WORDS]
    if not typed:
        return [], 0
    words = [_numbers_apart(word) for word in typed]
    visit, text, client = schema.visit, schema.visit_text, schema.client
    in_visit = [func.instr(text.c.search, word) > 0 for word in words]
    of_client = [func.instr(client.c.search, word) > 0 for word in typed]
    in_either = [or_(*pair) for pair in zip(in_visit, of_client, strict=True)]
    joined = text.join(visit, visit.c.id == text.c.visit_id).join(client, client.c.id == visit.c.client_id)
    matching = select(visit.c.id).select_from(joined).where(or_(*in_visit), *in_either).subquery()
    newest = (
        select(visit.c.id, visit.c.record, client.c.id.label("client_id"), client.c.record.label("client_record"))
        .join(client, client.c.id == visit.c.client_id)
        .where(visit.c.id.in_(select(matching.c.id)))
        .order_by(*NEWEST_FIRST)
        .limit(limit)
    )
    with database.reading() as connection:
        total = connection.execute(select(func.count()).select_from(matching)).scalar_one()
        rows = connection.execute(newest).all()
        photos = _photos_of(connection, [row.id for row in rows])
    found = []
    for row in rows:
        kept, owner = readable(Visit, row.id, row.record), readable(Client, row.client_id, row.client_record)
        if kept is not None and owner is not None:
            found.append(Found(kept, owner, _where(kept, words), photos.get(kept.id)))
    return found, total


def refresh_words(connection: Connection, visits: Select[Any]) -> None:
    """Set the words of some visits to what their records say; nothing is found in one that cannot be read."""
    table, visit = schema.visit_text, schema.visit
    rows = connection.execute(select(visit.c.id, visit.c.record).where(visit.c.id.in_(visits))).all()
    connection.execute(delete(table).where(table.c.visit_id.in_(visits)))
    if words := [text_row(each) for each in read_records(Visit, rows)]:
        connection.execute(insert(table), words)


def text_row(visit: Visit) -> Row:
    """Row of the words of a visit."""
    words = _folded("\n".join(text for _, text in searched_fields(visit) if text))
    return {"visit_id": visit.id, "search": words}


def searched_fields(visit: Visit) -> Iterator[tuple[str, str]]:
    """Every text of a visit with what it is."""
    yield "date", day(visit.on)
    yield from (("service", service) for service in visit.services)
    yield "hair history", visit.history
    yield "starting point", visit.starting_point
    for number, step in enumerate(visit.steps, start=1):
        strength = step.developer.text if step.developer is not None else ""
        yield f"step {number}", " ".join(filter(None, (step.zone, step.what)))
        yield f"product in step {number}", step.product
        yield f"amount in step {number}", step.amount.text if step.amount is not None else ""
        yield f"developer in step {number}", strength
        yield f"mixing ratio in step {number}", step.ratio
        yield f"time in step {number}", f"{step.minutes:g} minutes" if step.minutes is not None else ""
        yield f"placement in step {number}", " ".join((*step.placement, step.weave, step.sections)).strip()
        yield f"note in step {number}", step.note
        for charge in step.charges:
            yield f"price list in step {number}", f"{charge.name} {charge.quantity:g} {charge.pack_unit}"
        yield f"waste in step {number}", f"{step.waste:g} % thrown away" if step.waste is not None else ""
    yield "note", visit.note
    yield "next time", visit.next_time


def _photos_of(connection: Connection, visit_ids: list[str]) -> dict[str, str]:
    """One photo for each visit: the last of those before is overwritten by the first after."""
    table = schema.photo
    query = (
        select(table.c.visit_id, table.c.id)
        .where(table.c.visit_id.in_(visit_ids))
        .order_by(table.c.role == AFTER, table.c.taken_at.desc(), table.c.id)
    )
    return {row.visit_id: row.id for row in connection.execute(query)}


def _where(visit: Visit, words: list[str]) -> tuple[tuple[str, str], ...]:
    return tuple(
        (name, _around(text, words))
        for name, text in searched_fields(visit)
        if text and any(word in _folded(text) for word in words)
    )


def _around(text: str, words: list[str]) -> str:
    """A few words before and after the first one found."""
    typed = text.split()
    with_unit = ((n, f"{one} {other}") for n, (one, other) in enumerate(pairwise(typed)))
    hit = next((n for n, each in chain(enumerate(typed), with_unit) if any(word in _folded(each) for word in words)), 0)
    first, last = max(hit - _AROUND, 0), hit + _AROUND + 1
    cut = " ".join(typed[first:last])
    return f"{'… ' if first else ''}{cut}{' …' if last < len(typed) else ''}"


def _folded(text: str) -> str:
    """Text as a visit's words are kept and compared."""
    return _numbers_apart(_units_joined(search_text(text)))


def _units_joined(folded: str) -> str:
    """Without the gap between a number and its unit, so that ``6%`` finds ``6 %``."""
    return _GAP.sub("", folded)


def _numbers_apart(folded: str) -> str:
    """A bar on both sides of every number, so that ``20`` finds neither ``120`` nor ``2026``."""
    return _NUMBER.sub(r"|\g<0>|", folded)
