"""Frozen numbers: what this version of the measuring method makes of known photos and series.

    python -m tests.freeze          writes the files of the current METHOD_VERSION; never over a file that is there
    python -m tests.freeze --add    adds what the files of this version do not hold yet, and leaves every number in them

Files of older versions stay beside the new ones, so that what a version moved can be read from two of them.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from tests.frozen_numbers import makers
from tests.golden_tables import GOLDEN
from tracker import METHOD_VERSION

Json = Any

COMMAND = "python -m tests.freeze"

# How far a number may lie from the frozen one: absolute, and a share of the frozen number; the larger of both counts.
# The lowest and the newest dependencies lie apart by a tenth of these at most, where a card had to be found by a third.
_TOLERANCES: dict[str, tuple[float, float]] = {
    "lab": (0.01, 0.0),
    "u": (0.002, 0.0),
    "cov": (0.002, 1e-3),
    "dof": (0.01, 2e-3),
    "level": (0.002, 0.0),
    "level u": (0.001, 0.0),
    "share": (5e-4, 0.0),
    "pixels": (2.0, 1e-3),
    "value": (1e-3, 1e-3),
    "exact": (1e-9, 1e-9),
    "factor": (2e-4, 2e-4),
    "p": (5e-4, 1e-2),
    "months": (0.005, 1e-3),
    "mm": (0.02, 1e-3),
    # a found corner and a blur in pixels; where and how steeply lightness rises, whose ends are drawn by chance;
    # quantiles, which are kept with two digits
    "place": (0.2, 0.0),
    "blur": (0.03, 0.02),
    "start": (0.003, 0.0),
    "steepest": (0.01, 5e-3),
    "stretches": (0.021, 0.0),
}


def frozen_file(kind: str, version: str = METHOD_VERSION, folder: Path = GOLDEN) -> Path:
    """Where the numbers of that version stand."""
    return folder / f"{kind}_{version}.json"


def read_frozen(kind: str, version: str = METHOD_VERSION, folder: Path = GOLDEN) -> dict[str, Json]:
    """The frozen numbers of that version, by the name of what they are of.

    Raises
    ------
    AssertionError : where this version has none, with the command that writes them
    """
    file = frozen_file(kind, version, folder)
    if not file.exists():
        raise AssertionError(
            f"No numbers are frozen for version {version} of the method. Write them with `{COMMAND}` and look at what "
            "moved against the older file beside it."
        )
    return dict(json.loads(file.read_text("utf-8"))["numbers"])


def advice(version: str = METHOD_VERSION) -> str:
    """What to do about a number that moved."""
    return (
        f"These numbers moved, and the method still calls itself {version}. Where none was meant to move, find what "
        f"moved it. Where it was, raise METHOD_VERSION in tracker/__init__.py and run `{COMMAND}`, which writes the "
        "new numbers beside the old ones."
    )


def differences(frozen: Json, found: Json, where: str = "", kind: str = "exact") -> Iterator[str]:
    """One sentence for each number that is not the frozen one, that is missing, or that is not frozen yet."""
    if isinstance(frozen, dict) and isinstance(found, dict):
        for key in dict.fromkeys([*frozen, *found]):
            place = f"{where}, {key}" if where else key
            if key not in found:
                yield f"{place}: is frozen and was not found."
            elif key not in frozen:
                yield f"{place}: is not frozen yet; `{COMMAND} --add` adds it."
            else:
                yield from differences(frozen[key], found[key], place, _kind(key, kind))
    elif isinstance(frozen, list) and isinstance(found, list):
        if len(frozen) != len(found):
            yield f"{where}: {len(frozen)} frozen, {len(found)} found."
            return
        for number, (one, other) in enumerate(zip(frozen, found, strict=True)):
            yield from differences(one, other, f"{where} [{number}]", kind)
    elif _is_number(frozen) and _is_number(found):
        absolute, relative = _TOLERANCES[kind]
        allowed = max(absolute, relative * abs(frozen))
        if not abs(found - frozen) <= allowed:
            yield f"{where}: {frozen:g} became {found:g}, moved by {found - frozen:+.4g} (allowed {allowed:.2g})."
    elif frozen != found:
        yield f"{where}: {frozen!r} became {found!r}."


def _is_number(value: Json) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _kind(key: str, inherited: str) -> str:
    """The tolerance of what stands under a key: its last words name it, else that of what it stands in."""
    words = key.split(" ")
    names = (" ".join(words[start:]) for start in range(len(words)))
    return next((name for name in names if name in _TOLERANCES), inherited)


def write(folder: Path, version: str, made: Mapping[str, Mapping[str, Json]], *, add: bool = False) -> list[Path]:
    """Write the files of a version, all or none.

    Raises
    ------
    FileExistsError : where a file of that version is there already and nothing is to be added to it
    """
    files = {kind: frozen_file(kind, version, folder) for kind in made}
    there = [file for file in files.values() if file.exists()]
    if there and not add:
        raise FileExistsError(
            f"{', '.join(file.name for file in there)} is there already and stays as it is: numbers of a version never "
            "change. Raise METHOD_VERSION in tracker/__init__.py to freeze new ones, or use --add for what is new."
        )
    for kind, numbers in made.items():
        kept = read_frozen(kind, version, folder) if files[kind].exists() else {}
        content = {"method_version": version, "numbers": _added(kept, _rounded(numbers))}
        files[kind].write_text(_lines(content), "utf-8")
    return list(files.values())


def _added(kept: Json, new: Json) -> Json:
    """What is kept, and beside it what is new."""
    if not (isinstance(kept, dict) and isinstance(new, dict)):
        return kept
    both = {key: _added(kept[key], each) for key, each in new.items() if key in kept}
    return {**new, **kept, **both}


def _rounded(value: Json) -> Json:
    """Six figures: well within what a number may move by."""
    if isinstance(value, Mapping):
        return {key: _rounded(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(each) for each in value]
    return float(f"{value:.6g}") if isinstance(value, float) else value


def _lines(content: Json) -> str:
    """JSON with a row of numbers to a line."""
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
    rows = re.compile(r"\[\s+([^\[\]{}]*?)\s+\]")
    return rows.sub(lambda row: f"[{' '.join(row[1].split())}]", text) + "\n"


def main(words: list[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(prog=COMMAND, description="Freeze the numbers of this version of the method.")
    parser.add_argument("--add", action="store_true", help="add what is not frozen yet; no frozen number changes")
    asked = parser.parse_args(words)
    kinds = makers()
    if not asked.add and any(frozen_file(kind, METHOD_VERSION, GOLDEN).exists() for kind in kinds):
        made: dict[str, dict[str, Json]] = {kind: {} for kind in kinds}  # refused below, without measuring first
    else:
        made = {kind: {name: make() for name, make in each.items()} for kind, each in kinds.items()}
    try:
        files = write(GOLDEN, METHOD_VERSION, made, add=asked.add)
    except FileExistsError as error:
        print(error, file=sys.stderr)
        return 1
    print("Written:", ", ".join(file.name for file in files))
    return 0


if __name__ == "__main__":
    sys.exit(main())
