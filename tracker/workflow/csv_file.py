"""A list that was saved from a spreadsheet, as lines of named cells."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from dataclasses import dataclass

from tracker.errors import InvalidList
from tracker.report import as_typed

LARGEST_BYTES = 5 * 1024**2
MOST_LINES = 20_000

_SEPARATORS = (";", ",")
_SIXTEEN_BITS = (b"\xff\xfe", b"\xfe\xff")
_SAVE_AGAIN = "Save it from the spreadsheet as “CSV UTF-8” and choose that file."


@dataclass(frozen=True, slots=True)
class ListLine:
    """One line.

    Attributes
    ----------
    number : int, line of the file, counted from 1 as a text editor does
    cells : str by name of the column, as written, trimmed
    fault : str, why the line cannot be read, or empty
    """

    number: int
    cells: dict[str, str]
    fault: str = ""


@dataclass(frozen=True, slots=True)
class ListFile:
    """A list.

    Attributes
    ----------
    columns : names in small letters, in order
    lines : without empty ones
    """

    columns: tuple[str, ...]
    lines: tuple[ListLine, ...]


def read_list(content: bytes, known: Collection[str]) -> ListFile:
    """Read a list.

    Parameters
    ----------
    content : bytes as they were handed over: UTF-8 with or without a mark at its start, commas or semicolons
    known : names of columns, small letters; they tell which of the two signs separates the cells

    Raises
    ------
    InvalidList : it is no such file
    """
    text = _decoded(content)
    separator = _separator(text, known)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    columns: tuple[str, ...] | None = None
    lines: list[ListLine] = []
    start = 1
    try:
        for cells in reader:
            number, start = start, reader.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            if columns is None:
                columns = _columns(cells)
            else:
                lines.append(_line(number, columns, cells))
            if len(lines) > MOST_LINES:
                raise InvalidList(
                    f"The list has more than {MOST_LINES} lines.", "Split it into several files.", limit=MOST_LINES
                )
    except csv.Error as error:
        raise InvalidList(f"The list cannot be read at line {start}: {error}.", _SAVE_AGAIN) from error
    if columns is None or not lines:
        raise InvalidList("The list has no lines under its headings.", "The first line names the columns.")
    return ListFile(columns, tuple(lines))


def _decoded(content: bytes) -> str:
    if len(content) > LARGEST_BYTES:
        size, limit = len(content) / 1024**2, LARGEST_BYTES / 1024**2
        raise InvalidList(
            f"The list has {size:.1f} MB (limit {limit:.0f} MB).",
            "Split it into several files.",
            value=size,
            limit=limit,
            unit="MB",
        )
    if content.startswith(_SIXTEEN_BITS) or b"\0" in content:
        raise InvalidList("The list is not UTF-8 text: it is a spreadsheet's own file, or in 16 bits.", _SAVE_AGAIN)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise InvalidList(f"The list is not UTF-8: line {line} has a letter in another coding.", _SAVE_AGAIN) from error


def _separator(text: str, known: Collection[str]) -> str:
    """The sign with which the first line falls into columns that are known, else the more frequent one."""
    first = next((line for line in text.splitlines() if line.strip()), "")

    def fit(separator: str) -> tuple[int, int]:
        names = [name.strip().strip('"').strip().casefold() for name in first.split(separator)]
        return len(set(names) & set(known)), len(names)

    best = max(_SEPARATORS, key=fit)
    if fit(best)[0] == 0 and "\t" in first:
        raise InvalidList("The columns are separated by tabs.", "Save the list with commas or semicolons.")
    return best


def _columns(cells: list[str]) -> tuple[str, ...]:
    names = tuple(as_typed(" ".join(cell.split())).casefold() for cell in cells)
    twice = next((name for name in names if name and names.count(name) > 1), None)
    if twice is not None:
        raise InvalidList(f"Two columns are named “{twice}”.", "Give each column a name of its own.")
    return names


def _line(number: int, columns: tuple[str, ...], cells: list[str]) -> ListLine:
    named = {name: as_typed(cell.strip()) for name, cell in zip(columns, cells, strict=False) if name}
    more = len(cells) - len(columns)
    if more > 0 and any(cell.strip() for cell in cells[len(columns) :]):
        return ListLine(number, named, f"It has {len(cells)} cells under {len(columns)} headings.")
    return ListLine(number, {**dict.fromkeys(filter(None, columns), ""), **named})
