"""Records as tables for a spreadsheet, whatever fields they have.

A record becomes one row. What it holds once becomes columns beside it, what it holds several times becomes a table of
its own that names the record it belongs to. So a field that is new to the record appears here by itself.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from tracker.report.units import UNITS

Json = Any

CARRIED = ("id", "client_id", "visit_id", "on", "role", "taken_at")
"""What a row of an inner table repeats of the record that it belongs to, so that it can be sorted by itself."""

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
"""A text that begins with one of these would run as a formula in a spreadsheet (OWASP, CSV injection)."""

_SIGNS = "[" + "".join(map(re.escape, FORMULA_SIGNS)) + "]"
# apostrophes that stand before such a sign already get one more, so that what goes out can come in again unchanged
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
        """Headings of all columns that hold something, in the order in which they first occur."""
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
    bytes : UTF-8 with a mark at the start, commas, one heading line; a text that would run as a formula has an
        apostrophe before it, also one that begins after a semicolon or on a new line, where some spreadsheets begin
        a cell
    """
    return csv_lines(table.columns, table.rows, first=True)


def as_typed(cell: str) -> str:
    """The text of a cell as it was before `to_csv` wrote it; ``=1+1`` is a text like any other, nothing is run."""
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
    """Headings of all tables that records of one kind make, for writing them piece by piece with `csv_lines`."""
    found: dict[str, dict[str, None]] = {}
    for record in records:
        for table, sheet in sheet_tables(name, [record]).items():
            found.setdefault(table, {}).update(dict.fromkeys(sheet.columns))
    return {table: list(headings) for table, headings in found.items()}


def csv_lines(headings: Sequence[str], rows: Iterable[dict[str, Json]], *, first: bool = False) -> bytes:
    """Rows of a table as `to_csv` writes them, with the line of headings where they are the first."""
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
    """Put one value where it belongs: into cells of this row, or into a table of its own."""
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
    """True for a text that could not be told from several, or from none, once it stands in a row of others."""
    return not item or ";" in item or item.startswith("[")
