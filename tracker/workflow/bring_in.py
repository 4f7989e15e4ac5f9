"""Bring in clients and past visits from a list: first a plan that changes nothing, then all at once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from tracker.errors import InvalidList
from tracker.record.records import Client, Visit, new_id, now
from tracker.report import SheetTable, to_csv
from tracker.store import Store
from tracker.workflow.csv_file import ListFile, ListLine, read_list
from tracker.workflow.import_plan import CLIENTS, VISITS, ImportPlan, Refused, read_lines, require_past, same
from tracker.workflow.own_tables import plan_tables, table_kind
from tracker.workflow.words import clean_line, clean_note

_NAME = ("name", "client", "client name")
_FIRST, _LAST = "first name", "last name"
_DATE = ("date", "day", "visit date")
_SERVICES = ("services", "service")
_NOTE = ("notes", "note")
_CONTACT = ("contact", "contact note")
_NEXT = ("next time", "next")
KNOWN = (*_NAME, _FIRST, _LAST, *_DATE, *_SERVICES, *_NOTE, *_CONTACT, *_NEXT, "id", "client id")

_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ].*)?")
_DOTTED = re.compile(r"(\d{1,2})\.\s*(\d{1,2})\.\s*(\d{4})")
_SLASHED = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})")


def plan_files(
    store: Store, contents: Sequence[bytes], *, day_first: bool | None = None, today: date | None = None
) -> ImportPlan:
    """Read a list, or several tables written by this program, and say what they would add; nothing is changed.

    A list with a column ``date`` is a list of visits of existing clients; any other is a list of clients.

    Parameters
    ----------
    contents : bytes of CSV files
    day_first : bool or None, how to read dates such as 03/04/2025; None to work it out from the list
    today : date or None for the current one

    Raises
    ------
    InvalidList : one of them cannot be read or lacks a needed column, or a list of somebody's own is not alone
    """
    files = [read_list(content, KNOWN) for content in contents]
    own = [table_kind(listed) is not None for listed in files]
    if all(own) and own:
        return plan_tables(store, files, today or date.today())
    if len(files) != 1:
        raise InvalidList(
            "Only tables written by this program can come in together.", "Choose one list of your own at a time."
        )
    listed = files[0]
    if _column(listed, _DATE) is not None:
        return _plan_visits(store, listed, day_first, today or date.today())
    return _plan_clients(store, listed)


def bring_in(store: Store, plan: ImportPlan) -> int:
    """Keep what a plan would add, all of it or nothing; returns how many.

    Clients are kept with no answer about agreement: they must be asked before the first photo. Visits are kept without
    photos.

    Raises
    ------
    Conflict : a visit is already there
    NotFound : a client was erased since the plan was made
    InvalidList : nobody has said yet whether days or months come first
    """
    if plan.dates_unclear:
        raise InvalidList("It is not clear whether days or months come first.", "Choose it above the list.")
    store.importing.add(plan.clients, [visit for _, visit in plan.visits])
    return len(plan.clients) + len(plan.visits)


def refused_csv(plan: ImportPlan) -> bytes:
    """The lines left out, as a list again with line and reason, to be put right and brought in later."""
    return to_csv(SheetTable([{"line": each.line, "why left out": each.why, **each.cells} for each in plan.refused]))


def _plan_clients(store: Store, listed: ListFile) -> ImportPlan:
    name, first, last = _column(listed, _NAME), _column(listed, (_FIRST,)), _column(listed, (_LAST,))
    if name is None and first is None and last is None:
        raise InvalidList(
            "The list has no column with names.", "Name one column “name”, or two “first name” and “last name”."
        )
    note, contact = _column(listed, _NOTE), _column(listed, _CONTACT)
    used = {each for each in (name, first, last, note, contact) if each is not None}
    there = {same(client_name): "is already here" for client_name in store.importing.client_names().values()}

    def read(line: ListLine) -> Client:
        parts = (
            (line.cells[name],)
            if name is not None
            else (line.cells.get(first or "", ""), line.cells.get(last or "", ""))
        )
        called = clean_line(" ".join(parts), "The name")
        if not called:
            raise Refused("There is no name.")
        if same(called) in there:
            raise Refused(f"A client named {called} {there[same(called)]}.")
        words = clean_note(line.cells.get(note or "", ""), "The note")
        how = clean_note(line.cells.get(contact or "", ""), "The contact note")
        client = Client(new_id(), called, words, now(), contact=how)
        there[same(called)] = f"is already in this list, in line {line.number}"
        return client

    clients, refused = read_lines(listed.lines, read)
    return ImportPlan(CLIENTS, tuple(clients), (), tuple(refused), _unused(listed, used), listed.coding)


def _plan_visits(store: Store, listed: ListFile, day_first: bool | None, today: date) -> ImportPlan:
    name, on, services, note, later = (_column(listed, names) for names in (_NAME, _DATE, _SERVICES, _NOTE, _NEXT))
    if name is None or on is None:
        raise InvalidList("The list of visits has no column with the clients' names.", "Name one column “client”.")
    used = {each for each in (name, on, services, note, later) if each is not None}
    order = _day_first(listed, on) if day_first is None else day_first
    unclear = order is None
    clients: dict[str, list[str]] = {}
    for client_id, client_name in store.importing.client_names().items():
        clients.setdefault(same(client_name), []).append(client_id)
    there = store.importing.visit_days()

    def read(line: ListLine) -> tuple[str, Visit]:
        called = clean_line(line.cells[name], "The name")
        found = clients.get(same(called), [])
        if len(found) != 1:
            raise Refused(_no_client(called, len(found)))
        day = _date(line.cells[on], order is not False, today)
        done = tuple(
            clean_line(part, "The service")
            for part in re.split(r"[;,]", line.cells.get(services or "", ""))
            if part.strip()
        )
        key = (found[0], day, tuple(sorted(map(same, done))))
        if key in there:
            raise Refused(f"This visit of {called} on {day.isoformat()} is already here, with the same services.")
        there.add(key)
        words = clean_note(line.cells.get(note or "", ""), "The note")
        plan = clean_note(line.cells.get(later or "", ""), "The note for next time")
        return called, Visit(new_id(), found[0], day, done, (), words, plan, now())

    visits, refused = read_lines(listed.lines, read)
    return ImportPlan(VISITS, (), tuple(visits), tuple(refused), _unused(listed, used), listed.coding, unclear)


def _no_client(called: str, found: int) -> str:
    if not called:
        return "There is no client name."
    if found == 0:
        return f"There is no client named {called}. Bring in the list of clients first."
    return f"{found} clients are named {called}. First merge their records, or give one of them another name."


def _day_first(listed: ListFile, column: str) -> bool | None:
    """Whether days come before months in dates with slashes; None where the list does not show it."""
    pairs = [
        (int(found[1]), int(found[2]))
        for line in listed.lines
        if (found := _SLASHED.fullmatch(line.cells.get(column, "").strip()))
    ]
    if any(first > 12 for first, _ in pairs):
        return True
    return False if any(second > 12 for _, second in pairs) else (None if pairs else True)


def _date(text: str, day_first: bool, today: date) -> date:
    if not text:
        raise Refused("There is no date.")
    if found := _ISO.fullmatch(text):
        year, month, day = found[1], found[2], found[3]
    elif found := _DOTTED.fullmatch(text):
        day, month, year = found[1], found[2], found[3]
    elif found := _SLASHED.fullmatch(text):
        day, month, year = (found[1], found[2], found[3]) if day_first else (found[2], found[1], found[3])
    else:
        raise Refused(f"The date {text[:40]} is not understood. Write it as 2025-04-03.")
    try:
        on = date(int(year), int(month), int(day))
    except ValueError:
        raise Refused(f"The date {text} is not a day in the calendar.") from None
    return require_past(on, today)


def _column(listed: ListFile, names: tuple[str, ...]) -> str | None:
    return next((name for name in names if name in listed.columns), None)


def _unused(listed: ListFile, used: set[str]) -> tuple[str, ...]:
    return tuple(name for name in listed.columns if name and name not in used)
