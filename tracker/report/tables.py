"""Records as tables for a spreadsheet, whatever fields they have.

A record becomes one row. Parts that it holds once become more columns; parts that it holds several times become a table
of their own that names the record. So a new field of the record appears here by itself.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from tracker.words import UNITS

Json = Any

CARRIED = ("id", "client_id", "visit_id", "on", "role", "taken_at")
"""Fields that a row of an inner table repeats from its record, so that it can be sorted on its own."""

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
"""Text that begins with one of these would run as a formula in a spreadsheet (OWASP, CSV injection)."""

_SIGNS = "[" + "".join(map(re.escape, FORMULA_SIGNS)) + "]"
# existing apostrophes before such a sign get one more, so that text comes back in unchanged
_FORMULA = re.compile(rf"(^|[;\r\n])(?='*{_SIGNS})")
_ESCAPED = re.compile(rf"(^|[;\r\n])'(?='*{_SIGNS})")

_MEASURED = {"value", "u", "unit", "dof"}
_LAB = {"lab", "cov", "dof"}
_AXES = ("L*", "a*", "b*")


@dataclass(slots=True)
class SheetTable:
    """One table.

    Attributes
    ----------
    rows : cells by the heading of their column
    """

    rows: list[dict[str, Json]] = field(default_factory=list)

    @property
    def columns(self) -> list[str]:
        """Headings of all columns that hold something, in order of first appearance."""
        return list(dict.fromkeys(heading for row in self.rows for heading, value in row.items() if value is not None))


def sheet_tables(name: str, records: Iterable[dict[str, Json]]) -> dict[str, SheetTable]:
    """Records of one kind as tables.

    Parameters
    ----------
    name : str, of the kind in the plural, such as ``photos``
    records : each as `json.loads` gives it

    Returns
    -------
    dict : name to table; `name` itself first, then ``photos_reading_regions`` and the like
    """
    tables: dict[str, SheetTable] = {name: SheetTable()}
    for record in records:
        owner = {_owner_heading(name, key): record[key] for key in CARRIED if record.get(key) is not None}
        tables[name].rows.append(_row(name, record, owner, tables))
    return tables


def to_csv(table: SheetTable) -> bytes:
    """A table as a file that spreadsheets and programs read.

    Returns
    -------
    bytes : UTF-8 with a byte order mark, commas, one heading line; text that would run as a formula gets an apostrophe
        in front, even after a semicolon or on a new line, where some spreadsheets start a cell
    """
    return csv_lines(table.columns, table.rows, first=True)


def as_typed(cell: str) -> str:
    """The text of a cell as it was before `to_csv` wrote it; ``=1+1`` is text like any other, and nothing is run."""
    return _ESCAPED.sub(r"\1", cell)


def as_list(cell: str) -> tuple[str, ...]:
    """The texts that `to_csv` wrote into one cell, once `as_typed` was there."""
    if cell.startswith("["):
        try:
            found = json.loads(cell)
        except ValueError:
            found = None
        if isinstance(found, list) and all(isinstance(item, str) for item in found):
            return tuple(found)
    return tuple(cell.split("; ")) if cell else ()


def columns_of(records: Iterable[dict[str, Json]], name: str) -> dict[str, list[str]]:
    """Headings of all tables made from records of one kind, for writing them piece by piece with `csv_lines`."""
    found: dict[str, dict[str, None]] = {}
    for record in records:
        for table, sheet in sheet_tables(name, [record]).items():
            found.setdefault(table, {}).update(dict.fromkeys(sheet.columns))
    return {table: list(headings) for table, headings in found.items()}


def csv_lines(headings: Sequence[str], rows: Iterable[dict[str, Json]], *, first: bool = False) -> bytes:
    """Rows of a table as `to_csv` writes them, with the headings before the first."""
    import pandas as pd  # imported late: it is slow to load, and few runs write a table

    cells = [[_cell(row.get(heading)) for heading in headings] for row in rows]
    table = pd.DataFrame(cells, columns=[_cell(heading) for heading in headings], dtype=object)
    text = table.to_csv(index=False, header=first, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n", na_rep="nan")
    return str(text).encode("utf-8-sig" if first else "utf-8", "backslashreplace")


def heading(name: str) -> str:
    """A field's name in words, with its unit."""
    words = name.replace("_", " ")
    return f"{words} ({UNITS[name]})" if UNITS.get(name) else words


def _row(name: str, record: dict[str, Json], owner: dict[str, Json], tables: dict[str, SheetTable]) -> dict[str, Json]:
    cells: dict[str, Json] = {}
    for key, value in record.items():
        _place(name, key, heading(key), value, cells, owner, tables)
    return cells


def _place(
    table: str,
    key: str,
    title: str,
    value: Json,
    cells: dict[str, Json],
    owner: dict[str, Json],
    tables: dict[str, SheetTable],
) -> None:
    """Put one value in its place: in cells of this row, or in a table of its own."""
    if isinstance(value, dict) and set(value) == _MEASURED:
        _place_measured(value, cells, title)
    elif isinstance(value, dict) and set(value) == _LAB:
        _place_colour(value, cells, title.removesuffix(f"({UNITS['lab']})").strip().removesuffix("lab").strip())
    elif isinstance(value, dict):
        for inner, content in value.items():
            _place(f"{table}_{key}", inner, f"{key.replace('_', ' ')} {heading(inner)}", content, cells, owner, tables)
    elif isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
        inner_table = tables.setdefault(f"{table}_{key}", SheetTable())
        for number, item in enumerate(value, start=1):
            inner_table.rows.append({**owner, "number": number, **_row(f"{table}_{key}", item, owner, tables)})
    else:
        cells[title] = value


def _place_measured(value: dict[str, Json], cells: dict[str, Json], title: str) -> None:
    unit = f" ({value['unit']})" if value["unit"] else ""
    cells[f"{title}{unit}"] = value["value"]
    cells[f"{title} standard uncertainty{unit}"] = value["u"]
    cells[f"{title} degrees of freedom"] = value["dof"]


def _place_colour(value: dict[str, Json], cells: dict[str, Json], title: str) -> None:
    start = f"{title} " if title else ""
    for axis, number in zip(_AXES, value["lab"], strict=True):
        cells[f"{start}{axis}"] = number
    for row, axis in enumerate(_AXES):
        cells[f"{start}standard uncertainty of {axis}"] = max(value["cov"][row][row], 0.0) ** 0.5
    cells[f"{start}covariance of L*, a*, b*"] = value["cov"]
    cells[f"{start}degrees of freedom"] = value["dof"]


def _owner_heading(table: str, key: str) -> str:
    return f"{table} id" if key == "id" else key.replace("_", " ")


def _cell(value: Json) -> str | int | float:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return value
    if isinstance(value, list) and all(isinstance(item, int | float) for item in value):
        return "; ".join(map(str, value))
    if isinstance(value, list) and all(isinstance(item, str) for item in value):
        value = json.dumps(value, ensure_ascii=False) if any(map(_divides, value)) else "; ".join(value)
    elif not isinstance(value, str):
        value = json.dumps(value, ensure_ascii=False)
    return _FORMULA.sub(r"\1'", value)


def _divides(item: str) -> bool:
    """True for text that, joined with others in one cell, could be mistaken for several or for none."""
    return not item or ";" in item or item.startswith("[")
