"""What a list would add: the lines taken, and the lines left out with their reasons."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from tracker.errors import InvalidEntry
from tracker.record.records import Client, Visit
from tracker.workflow.csv_file import UTF8, ListLine

CLIENTS, VISITS, TABLES = "clients", "visits", "tables"

EARLIEST = date(1950, 1, 1)
"""A date before this is taken for a slip; our own choice."""

Made = TypeVar("Made")


@dataclass(frozen=True, slots=True)
class Refusal:
    """A line that is not brought in.

    Attributes
    ----------
    line : int, of the file
    why : str, a sentence
    cells : str by column, as they were read
    """

    line: int
    why: str
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """What a list would add; nothing is kept yet.

    Attributes
    ----------
    kind : str, `CLIENTS` or `VISITS` for a list of either, `TABLES` for tables that this program wrote
    clients : to be added; none in a list of visits
    visits : to be added, each with the name of its client as the list has it
    refused : lines that are left out, each with its reason
    left_out : names of columns, or of tables, not understood and not brought in
    coding : str, in which the list was read, as in `csv_file.ListFile`
    dates_unclear : bool, True where days and months cannot be told apart; somebody must say which comes first
    """

    kind: str
    clients: tuple[Client, ...]
    visits: tuple[tuple[str, Visit], ...]
    refused: tuple[Refusal, ...]
    left_out: tuple[str, ...]
    coding: str = UTF8
    dates_unclear: bool = False


class Refused(Exception):
    """Why a line is not brought in; `read_lines` catches it."""


def read_lines(lines: Iterable[ListLine], read: Callable[[ListLine], Made]) -> tuple[list[Made], list[Refusal]]:
    """What `read` makes of each line, and the lines that it refuses."""
    made, refused = [], []
    for line in lines:
        try:
            if line.fault:
                raise Refused(line.fault)
            made.append(read(line))
        except (Refused, InvalidEntry) as reason:
            why = reason.what if isinstance(reason, InvalidEntry) else str(reason)
            refused.append(Refusal(line.number, why, line.cells))
    return made, refused


def same(text: str) -> str:
    """A name as it is compared."""
    return " ".join(text.split()).casefold()


def require_past(on: date, today: date) -> date:
    """The day itself, where a visit can have been on it."""
    if on > today:
        raise Refused(f"The date {on.isoformat()} lies in the future.")
    if on < EARLIEST:
        raise Refused(f"The date {on.isoformat()} lies before {EARLIEST.year}.")
    return on
