"""A list saved from a spreadsheet or written by this program, as lines of named cells."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from dataclasses import dataclass

from tracker.errors import InvalidList
from tracker.report import as_typed

LARGEST_BYTES = 20 * 1024**2
MOST_LINES = 100_000

_SEPARATORS = (";", ",", "\t")
_SAVE_AGAIN = "Save it from the spreadsheet as “CSV UTF-8” and choose that file."

UTF8, UTF16, WESTERN = "utf-8-sig", "utf-16", "cp1252"


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
    columns : names in lower case, in order
    lines : without empty ones
    coding : str, `UTF8`, `UTF16` or `WESTERN`, in which it was read
    """

    columns: tuple[str, ...]
    lines: tuple[ListLine, ...]
    coding: str = UTF8


def read_list(content: bytes, known: Collection[str]) -> ListFile:
    """Read a list.

    Parameters
    ----------
    content : bytes as received: UTF-8 or UTF-16 with or without a byte order mark, else Windows-1252;
        commas, semicolons or tabs
    known : names of columns, lower case; they show which character separates the cells

    Raises
    ------
    InvalidList : it is not such a file
    """
    text, coding = _decoded(content)
    separator = _separator(text, known)
    columns: tuple[str, ...] | None = None
    lines: list[ListLine] = []
    starts = _starts(text, separator)
    for (number, width), cells in zip(starts, _cells(text, separator, starts), strict=True):
        if not any(cell.strip() for cell in cells):
            continue
        if columns is None:
            columns = _columns(cells[:width])
        else:
            lines.append(_line(number, columns, cells[:width]))
    if columns is None or not lines:
        raise InvalidList("The list has no lines under its headings.", "The first line names the columns.")
    return ListFile(columns, tuple(lines), coding)


def _decoded(content: bytes) -> tuple[str, str]:
    if len(content) > LARGEST_BYTES:
        size, limit = len(content) / 1024**2, LARGEST_BYTES / 1024**2
        raise InvalidList(
            f"The list has {size:.1f} MB (limit {limit:.0f} MB).",
            "Split it into several files.",
            value=size,
            limit=limit,
            unit="MB",
        )
    wide = _sixteen_bits(content)
    if wide is None and b"\0" in content:
        raise InvalidList("This is not a list but a spreadsheet's own file, or not text at all.", _SAVE_AGAIN)
    for coding, reads in ((UTF16, wide), (UTF8, UTF8), (WESTERN, WESTERN)):
        if reads is None or (wide is not None and coding != UTF16):
            continue
        try:
            return content.decode(reads).removeprefix("\ufeff"), coding
        except UnicodeDecodeError as error:
            if coding != UTF8:
                line = content.count(b"\n", 0, error.start) + 1
                raise InvalidList(
                    f"The letters of the list cannot be read: line {line} has one in an unknown encoding.", _SAVE_AGAIN
                ) from error
    raise AssertionError("every file is read in one of the codings or refused")


def _sixteen_bits(content: bytes) -> str | None:
    """Which of the two byte orders a 16-bit text has; None where it is not one."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    first = content[:200]
    for coding, empty, full in (("utf-16-le", first[1::2], first[::2]), ("utf-16-be", first[::2], first[1::2])):
        # headings are nearly always in Latin letters, so almost every other byte is zero
        if len(first) >= 4 and empty.count(0) > 0.6 * len(empty) and full.count(0) == 0:
            return coding
    return None


def _separator(text: str, known: Collection[str]) -> str:
    """The separator that splits the first line into known columns, else the more frequent one."""
    first = next((line for line in text.splitlines() if line.strip()), "")

    def fit(separator: str) -> tuple[int, int]:
        names = [name.strip().strip('"').strip().casefold() for name in first.split(separator)]
        return len(set(names) & set(known)), len(names)

    return max(_SEPARATORS, key=fit)


def _starts(text: str, separator: str) -> list[tuple[int, int]]:
    """For each row the line of the file at which it starts, and how many cells it has.

    Strictly, because a quotation mark that is never closed would swallow all the lines that follow; pandas says neither
    which line nor how many cells there were.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    found: list[tuple[int, int]] = []
    start = 1
    try:
        for cells in reader:
            found.append((start, max(len(cells), 1)))
            start = reader.line_num + 1
            if len(found) > MOST_LINES + 1:
                raise InvalidList(
                    f"The list has more than {MOST_LINES} lines.", "Split it into several files.", limit=MOST_LINES
                )
    except csv.Error as error:
        raise InvalidList(f"The list cannot be read at line {start}: {error}.", _SAVE_AGAIN) from error
    return found


def _cells(text: str, separator: str, starts: list[tuple[int, int]]) -> list[list[str]]:
    """The cells of every row, each row as wide as the widest."""
    import pandas as pd  # imported late: it is slow to load, and few runs read a list

    if not starts:
        return []
    try:
        table = pd.read_csv(
            io.StringIO(text, newline=""),
            sep=separator,
            header=None,
            names=range(max(width for _, width in starts)),
            dtype=str,
            keep_default_na=False,
            na_filter=False,
            skip_blank_lines=False,
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise InvalidList(f"The list cannot be read: {error}.", _SAVE_AGAIN) from error
    rows: list[list[str]] = table.to_numpy().tolist()
    if len(rows) != len(starts):
        raise InvalidList("The list cannot be read: its lines end in more than one way.", _SAVE_AGAIN)
    return rows


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
