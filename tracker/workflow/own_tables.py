"""Tables written by this program come back in: clients, visits and their steps, linked by their identifiers."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

from tracker.errors import InvalidList
from tracker.measure.reading import RIBBON, WHOLE
from tracker.record.agreed import NOTHING_AGREED, AgreedLimits
from tracker.record.records import Client, Step, Visit, from_json, new_id, now
from tracker.report import as_list
from tracker.store import Store
from tracker.workflow.csv_file import ListFile, ListLine
from tracker.workflow.import_plan import TABLES, ImportPlan, Refusal, Refused, read_lines, require_past, same
from tracker.workflow.steps import clean_visit
from tracker.workflow.words import clean_line, clean_note

CLIENT_TABLE, VISIT_TABLE, STEP_TABLE, OTHER_TABLE = "clients", "visits", "steps of visits", "other"

_SHAPES = {
    CLIENT_TABLE: {"id", "name", "created at", "demo"},
    VISIT_TABLE: {"id", "client id", "on", "services", "created at"},
    STEP_TABLE: {"visit id", "client id", "number", "zone", "what"},
}
_OTHERS = ({"client id"}, {"visit id"}, {"id", "changed at"})
"""Columns that only the program's own tables have: their rows are neither clients nor visits."""

_UNIT = re.compile(r" \([^()]*\)$")
_IDENTIFIER = re.compile(r"[0-9a-f]{32}")
_LIMITS = ("warmer", "darkest", "lightest", "root mm")
_STEP_WORDS = ("zone", "what", "product", "note", "ratio", "weave", "sections")


def table_kind(listed: ListFile) -> str | None:
    """Which of the program's tables it is; None for a list of somebody's own."""
    names = {_UNIT.sub("", column) for column in listed.columns}
    for kind, shape in _SHAPES.items():
        if shape <= names:
            return kind
    return OTHER_TABLE if any(shape <= names for shape in _OTHERS) else None


def plan_tables(store: Store, tables: Sequence[ListFile], today: date) -> ImportPlan:
    """What the program's own tables would add; nothing is changed.

    A client or a visit keeps its identifier if that is free. A client already there is not added again, but new visits
    are added to that client.

    Raises
    ------
    InvalidList : none of the tables holds anything that can be brought in
    """
    by_kind: dict[str, list[ListLine]] = {kind: [] for kind in (*_SHAPES, OTHER_TABLE)}
    left_out: list[str] = []
    for listed in tables:
        kind = table_kind(listed) or OTHER_TABLE
        by_kind[kind] += [_without_units(line) for line in listed.lines]
        if kind == OTHER_TABLE:
            left_out.append(f"a table with the columns {', '.join(listed.columns[:4])} …")
    if not (by_kind[CLIENT_TABLE] or by_kind[VISIT_TABLE]):
        if by_kind[STEP_TABLE]:
            raise InvalidList("Steps come in together with their visits.", "Choose both tables at once.")
        raise InvalidList(
            "Nothing in this table can be brought in.", "Choose the tables of clients, visits and steps of visits."
        )
    taken = store.importing.taken_ids()
    clients, owners, refused = _clients(store, by_kind[CLIENT_TABLE], taken)
    steps, lost = _steps(by_kind[STEP_TABLE], {line.cells["id"] for line in by_kind[VISIT_TABLE]})
    visits, others = _visits(store, by_kind[VISIT_TABLE], owners, steps, taken, today)
    coding = next((listed.coding for listed in tables), "")
    return ImportPlan(TABLES, tuple(clients), tuple(visits), (*refused, *others, *lost), tuple(left_out), coding)


def _clients(
    store: Store, lines: Sequence[ListLine], taken: set[str]
) -> tuple[list[Client], dict[str, tuple[str, str]], list[Refusal]]:
    """Clients to add; for each identifier in the table the one it has here, and the name; and who is left out."""
    here = store.importing.client_names()
    owners = {client_id: (client_id, name) for client_id, name in here.items()}
    named: dict[str, list[str]] = {}
    for client_id, name in here.items():
        named.setdefault(same(name), []).append(client_id)

    def read(line: ListLine) -> Client:
        called = clean_line(line.cells["name"], "The name")
        if not called:
            raise Refused("There is no name.")
        known = line.cells["id"]
        there = named.get(same(called), [])
        if known in here or there:
            if known not in owners and len(there) == 1:
                owners[known] = (there[0], called)
            raise Refused(f"A client named {called} is already here.")
        if known in owners:
            raise Refused(f"A client named {called} is already in these tables.")
        client = Client(
            _free(known, taken),
            called,
            clean_note(line.cells.get("note", ""), "The note"),
            _moment(line.cells["created at"]),
            line.cells["demo"] == "yes",
            clean_note(line.cells.get("contact", ""), "The contact note"),
        )
        owners[known] = (client.id, called)
        return client

    clients, refused = read_lines(lines, read)
    return clients, owners, refused


def _steps(lines: Sequence[ListLine], visits: set[str]) -> tuple[dict[str, list[Step]], list[Refusal]]:
    """Steps in order, by the identifier of their visit in the table."""

    def read(line: ListLine) -> tuple[str, float, Step]:
        cells = line.cells
        if cells["visit id"] not in visits:
            raise Refused("Its visit is not in these tables.")
        made: dict[str, Any] = {name: cells.get(name, "") for name in _STEP_WORDS}
        made |= {"minutes": _number(cells, "minutes"), "waste": _number(cells, "waste"), "charges": []}
        made["placement"] = as_list(cells.get("placement", ""))
        for name, size in (("developer", "value"), ("amount", "grams")):
            value = _number(cells, f"{name} {size}")
            made[name] = None if value is None else {size: value, "unit": cells.get(f"{name} unit", "")}
        return cells["visit id"], _number(cells, "number") or 0.0, _record(Step, made)

    found, refused = read_lines(lines, read)
    steps: dict[str, list[Step]] = {}
    for visit_id, _, step in sorted(found, key=lambda each: each[1]):
        steps.setdefault(visit_id, []).append(step)
    return steps, refused


def _visits(
    store: Store,
    lines: Sequence[ListLine],
    owners: Mapping[str, tuple[str, str]],
    steps: Mapping[str, list[Step]],
    taken: set[str],
    today: date,
) -> tuple[list[tuple[str, Visit]], list[Refusal]]:
    there = store.importing.visit_days()
    used: set[str] = set()

    def read(line: ListLine) -> tuple[str, Visit]:
        cells = line.cells
        if cells["client id"] not in owners:
            raise Refused("Its client is not here. Choose the table of clients together with this one.")
        client_id, name = owners[cells["client id"]]
        try:
            on = require_past(date.fromisoformat(cells["on"]), today)
        except ValueError:
            raise Refused(f"The date {cells['on'][:40]} is not understood.") from None
        visit = clean_visit(_visit(cells, client_id, on, steps.get(cells["id"], [])))
        key = (client_id, on, tuple(sorted(map(same, visit.services))))
        if store.visits.has(cells["id"]) or key in there:
            raise Refused(f"This visit of {name} on {on.isoformat()} is already here, with the same services.")
        if cells["id"] in used:
            raise Refused(f"This visit of {name} on {on.isoformat()} is already in these tables.")
        used.add(cells["id"])
        return name, replace(visit, id=_free(cells["id"], taken))

    return read_lines(lines, read)


def _visit(cells: Mapping[str, str], client_id: str, on: date, steps: Sequence[Step]) -> Visit:
    warmer, darkest, lightest, root = (_number(cells, f"limits {name}") for name in _LIMITS)
    region = cells.get("limits region") or NOTHING_AGREED.region
    # tables of an earlier version do not say it: photos were read along a ribbon then
    hair = WHOLE if cells.get("limits hair") == WHOLE else RIBBON
    return Visit(
        new_id(),
        client_id,
        on,
        as_list(cells["services"]),
        tuple(steps),
        cells.get("note", ""),
        cells.get("next time", ""),
        _moment(cells["created at"]),
        history=cells.get("history", ""),
        starting_point=cells.get("starting point", ""),
        limits=AgreedLimits(warmer, darkest, lightest, root, region, hair),
        washes_per_week=_number(cells, "washes per week"),
    )


def _record(shape: type[Any], made: dict[str, Any]) -> Any:
    """The record of that shape, checked as one that is read from the database."""
    try:
        return from_json(shape, json.dumps(made))
    except ValueError:
        raise Refused("A number or a unit of this step cannot be read.") from None


def _number(cells: Mapping[str, str], name: str) -> float | None:
    text = cells.get(name, "")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise Refused(f"{text[:40]} is not a number ({name}).") from None


def _moment(text: str) -> datetime:
    """When a record was made; now if the table does not say so legibly."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return now()
    return found.astimezone(UTC) if found.tzinfo is not None else now()


def _free(identifier: str, taken: set[str]) -> str:
    """The identifier itself, if it is one and nothing here has or had it; else a new one."""
    return identifier if _IDENTIFIER.fullmatch(identifier) and identifier not in taken else new_id()


def _without_units(line: ListLine) -> ListLine:
    return replace(line, cells={_UNIT.sub("", name): cell for name, cell in line.cells.items()})
