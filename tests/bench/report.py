"""The bench's figures: one summary for each cell, tables to read, JSON to keep."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from tests.bench.pipeline import Cell, Numbers
from tests.bench.spectra import LIGHTS

Summary = dict[str, Any]


def summary(cell: Cell) -> Summary:
    """All figures of one cell; None where nothing was measured."""
    found: Summary = {"condition": cell.condition, "group": cell.group, "kind": cell.kind, "photos": cell.photos}
    found["refused"] = {reason: count / cell.photos for reason, count in sorted(cell.refused.items())}
    found["reading"] = {"n": len(cell.readings), **_reading(cell.readings)}
    found["by camera"] = {
        f"{camera:.0f}": {
            **_reading([entry for entry in cell.readings if entry["camera"] == camera]),
            "same kit": _pairs([entry for entry in cell.pairs if entry["camera"] == camera and entry["same"]]),
        }
        for camera in sorted({entry["camera"] for entry in cell.readings})
    }
    for name, same in (("same kit", 1.0), ("unlike kits", 0.0)):
        pairs = [pair for pair in cell.pairs if pair["same"] == same]
        found[name] = {"n": len(pairs), **_pairs(pairs)}
    return found


def _reading(entries: Sequence[Numbers]) -> Summary:
    return {
        **_spread("size", entries),
        **{k: v for name in ("L", "warmth", "level") for k, v in _spread(name, entries).items()},
        **{f"bias {name}": _mean(name, entries) for name in ("L", "warmth")},
        **{f"covers {n}": _mean(f"covers {n}", entries) for n in ("L", "a", "b", "warmth", "level", "colour")},
    }


def _pairs(entries: Sequence[Numbers]) -> Summary:
    null = [entry for entry in entries if entry["null"]]
    lifted = [entry for entry in entries if entry["true lift"] >= 1]
    real = [entry for entry in entries if entry["true size"] > 1.8]
    return {
        **{k: v for name in ("lift", "warmth", "L") for k, v in _spread(name, entries).items()},
        **{f"covers {n}": _mean(f"covers {n}", entries) for n in ("lift", "warmth", "L", "a", "b")},
        "false changed": _mean("changed", null),
        "missed lift": None if not lifted else 1 - float(np.mean([entry["changed"] for entry in lifted])),
        "false unchanged": _mean("no change", real),
        "settled unchanged": _mean("no change", null),
    }


def _values(name: str, entries: Sequence[Numbers]) -> np.ndarray:
    values = np.array([entry[name] for entry in entries], float)
    return np.asarray(values[np.isfinite(values)])


def _spread(name: str, entries: Sequence[Numbers]) -> Summary:
    values = np.abs(_values(name, entries))
    median, high = np.quantile(values, [0.5, 0.9]) if len(values) else (None, None)
    return {f"{name} median": _plain(median), f"{name} 90": _plain(high)}


def _mean(name: str, entries: Sequence[Numbers]) -> float | None:
    values = _values(name, entries)
    return float(values.mean()) if len(values) else None


def _plain(value: float | None) -> float | None:
    return None if value is None else float(value)


Column = tuple[str, Callable[[Summary], str]]


def _number(*path: str, digits: int = 2) -> Callable[[Summary], str]:
    def show(found: Summary) -> str:
        value: Any = found
        for key in path:
            value = value[key]
        return "-" if value is None else f"{value:.{digits}f}"

    return show


def _percent(*path: str) -> Callable[[Summary], str]:
    def show(found: Summary) -> str:
        value: Any = found
        for key in path:
            value = value[key]
        return "-" if value is None else f"{100 * value:.0f}"

    return show


def _both(part: str, name: str) -> Callable[[Summary], str]:
    return lambda found: f"{_number(part, f'{name} median')(found)} {_number(part, f'{name} 90')(found)}"


def _refused(found: Summary) -> str:
    return " ".join(f"{reason} {share:.0%}" for reason, share in found["refused"].items()) or "-"


_FIRST: list[Column] = [("condition", lambda f: f["condition"]), ("card", lambda f: f["kind"])]


def _pair_columns(part: str) -> list[Column]:
    return [
        *_FIRST,
        ("n", lambda f: str(f[part]["n"])),
        ("lift", _both(part, "lift")),
        ("warmth", _both(part, "warmth")),
        ("L*", _both(part, "L")),
        *((f"in {n}", _percent(part, f"covers {n}")) for n in ("lift", "warmth", "L", "a", "b")),
        ("false changed", _percent(part, "false changed")),
        ("missed", _percent(part, "missed lift")),
        ("false unchanged", _percent(part, "false unchanged")),
    ]


TABLES: dict[str, list[Column]] = {
    "Readings: error to the truth, median and 90th percentile; share (%) of stated 95 % intervals that hold it": [
        *_FIRST,
        ("n", lambda f: str(f["reading"]["n"])),
        ("dE00", _both("reading", "size")),
        ("L*", _both("reading", "L")),
        ("warmth", _both("reading", "warmth")),
        ("level", _both("reading", "level")),
        ("bias L*", _number("reading", "bias L")),
        *((f"in {n}", _percent("reading", f"covers {n}")) for n in ("L", "a", "b", "warmth", "level", "colour")),
        ("refused", _refused),
    ],
    "Differences, same kit: error of lift (levels), warmth and L*; coverage (%); wrong verdicts (%)": _pair_columns(
        "same kit"
    ),
    "Differences, unlike kits (another light and camera)": _pair_columns("unlike kits"),
}


def tables(found: Sequence[Summary]) -> str:
    """The tables as text."""
    return "\n\n".join(f"{title}\n{table([[name for name, _ in columns], *_rows(found, columns)])}"
                       for title, columns in TABLES.items())  # fmt: skip


def by_light(cells: Sequence[Cell]) -> str:
    """Median and 90th percentile of ΔE00 for each light and camera, in the first condition."""
    chosen = [cell for cell in cells if cell.condition == cells[0].condition]
    rows = [["dE00 by light and camera: " + cells[0].condition, *(cell.kind for cell in chosen)]]
    for camera in sorted({entry["camera"] for cell in chosen for entry in cell.readings}):
        for place, lamp in enumerate(LIGHTS):
            row = [f"camera {camera:.0f}, {lamp}"]
            for cell in chosen:
                here = [e for e in cell.readings if e["camera"] == camera and e["lamp"] == place]
                size = _spread("size", here)
                row.append(" ".join("-" if v is None else f"{v:.2f}" for v in size.values()))
            if any(each[0] != "-" for each in row[1:]):
                rows.append(row)
    return table(rows)


def _rows(found: Sequence[Summary], columns: Sequence[Column]) -> list[list[str]]:
    return [[show(each) for _, show in columns] for each in found]


def table(rows: Sequence[Sequence[str]]) -> str:
    """Rows of text in aligned columns."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    return "\n".join("  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in rows)
