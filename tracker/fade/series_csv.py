"""Series from a table of readings, as text."""

from __future__ import annotations

import csv
import io
import re

from tracker.errors import InvalidSeries, TooFewReadings
from tracker.fade.series import FadeSeries
from tracker.maths.quantities import Vector3

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_ADVICE = "The first row names the columns: months, then L, a, b and optional uL, ua, ub, or value and optional u."

Row = tuple[int, list[str]]


def fade_from_csv(text: str, default_u: Vector3) -> dict[str, FadeSeries]:
    """Series from a table with a row of column names.

    Parameters
    ----------
    text : columns ``months``, then ``L``, ``a``, ``b`` and optional ``uL``, ``ua``, ``ub``, or one ``value`` and
        optional ``u``; any order, upper or lower case, other columns are ignored. Separated by comma, semicolon
        (then a decimal comma is understood) or tab; blank rows are skipped
    default_u : standard uncertainty of L*, a*, b* where the table has none; a lone ``value`` gets the largest

    Returns
    -------
    dict : ``L*``, ``a*`` and ``b*``, or ``value``

    Raises
    ------
    InvalidSeries : names the row and the column that is wrong
    TooFewReadings : column names but no readings
    """
    separator, names, rows = _table(text)
    if not rows:
        raise TooFewReadings("The table has no readings.", "Add a row per reading.", value=0, limit=1)

    def column(name: str) -> tuple[float, ...]:
        place = names.index(name)
        return tuple(_number(cells, place, row, name, separator) for row, cells in rows)

    def series(value: str, uncertainty: str, default: float, unit: str) -> FadeSeries:
        u = column(uncertainty) if uncertainty in names else (default,) * len(rows)
        return FadeSeries(months, column(value), u, name=unit or value, unit=unit)

    _require(names, "months")
    months = column("months")
    _in_order(months, rows)
    if "value" in names:
        return {"value": series("value", "u", max(default_u), "")}
    for name in ("l", "a", "b"):
        _require(names, name)
    return {
        f"{name}*": series(name.lower(), f"u{name.lower()}", default, f"{name}*")
        for name, default in zip(("L", "a", "b"), default_u, strict=True)
    }


def _table(text: str) -> tuple[str, list[str], list[Row]]:
    """Separator, column names in lower case, and the rows that are not blank with their line numbers.

    Without pandas, which does not report line numbers and would nearly double the run time of the command.
    """
    text = text.removeprefix("\ufeff")
    first = next((line for line in text.splitlines() if line.strip()), "")
    if not first:
        raise InvalidSeries("The table is empty.", _ADVICE)
    separator = next((mark for mark in (";", "\t") if mark in first), ",")
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        filled = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise InvalidSeries(f"The table cannot be read: {error}.", _ADVICE) from error
    names = [cell.strip().lower() for cell in filled[0][1]]
    repeated = next((name for name in names if name and names.count(name) > 1), None)
    if repeated:
        raise InvalidSeries(f"Column {repeated} appears twice.", _ADVICE)
    return separator, names, filled[1:]


def _require(names: list[str], name: str) -> None:
    if name not in names:
        raise InvalidSeries(f"Column {_shown(name)} is missing.", _ADVICE)


def _number(cells: list[str], place: int, row: int, name: str, separator: str) -> float:
    cell = cells[place].strip() if place < len(cells) else ""
    cell = cell.replace("\u2212", "-")
    plain = cell if separator == "," else cell.replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        shown = f"“{cell[:20]}” is not a number" if cell else "is empty"
        raise InvalidSeries(f"Row {row}, column {_shown(name)}: {shown}.", "Correct it or leave out the row.")
    return float(plain)


def _in_order(months: tuple[float, ...], rows: list[Row]) -> None:
    for earlier, later, (row, _) in zip(months, months[1:], rows[1:], strict=False):
        if later < earlier:
            raise InvalidSeries(
                f"Row {row}, column months: months out of order, {later:g} comes after {earlier:g}.",
                "Sort the rows by month.",
                value=later,
                limit=earlier,
                unit="months",
            )


def _shown(name: str) -> str:
    """The name as written in the advice."""
    return {"l": "L", "ul": "uL"}.get(name, name)
