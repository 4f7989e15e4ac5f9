"""The house has thirteen floors, and a room looks only down: walks every import and says which one breaks that."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).parents[1]

FLOORS = {
    0: {"tracker", "errors"},
    1: {"maths", "words"},
    2: {"fade", "measure", "photo"},
    3: {"calibrate", "show"},
    4: {"record"},
    5: {"compare"},
    6: {"said"},
    7: {"charts", "report", "wear"},
    8: {"store"},
    9: {"workflow"},
    10: {"cli", "ui"},
    11: {"open"},
    12: {"__main__", "app"},
}
FLOOR = {room: floor for floor, rooms in FLOORS.items() for room in rooms}

# Libraries that open a door to the outside, and the only rooms that may.
DOORS = {
    "PIL": {"photo"},
    "psutil": {"photo"},
    "pillow_heif": {"photo"},
    "rawpy": {"photo"},
    "simplejpeg": {"photo"},
    "alembic": {"store"},
    "sqlalchemy": {"store"},
    "streamlit": {"app", "ui"},
}
SPEAKING = {"cli"}  # rooms that may print


@dataclass(frozen=True)
class Import:
    """One import, wherever in a module it stands."""

    line: int
    module: str


def imports(source: str, module: str, is_package: bool) -> Iterator[Import]:
    """Every import of a module, those inside functions too, by absolute name."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (Import(node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parents = module.split(".") if is_package else module.split(".")[:-1]
                kept = parents[: len(parents) - node.level + 1]
                base = ".".join([*kept, *filter(None, [node.module])])
            yield from (Import(node.lineno, f"{base}.{alias.name}") for alias in node.names)


def home_of(module: str) -> str:
    """The room in which a module of ours stands."""
    return module.split(".")[1 if module.startswith("tracker.") else 0]


def room_of(imported: str) -> str:
    """The room of ours that an import leads to; of another's, the library."""
    first, *rest = imported.split(".")
    if first != "tracker":
        return first
    # else a name of the package itself, such as METHOD_VERSION
    return rest[0] if rest and rest[0] in ROOMS else "tracker"


def faults(source: str, module: str, is_package: bool = False) -> list[str]:
    """What a module imports or does that its room may not."""
    here = home_of(module)
    if here not in FLOOR:
        return [f"{module}: the room {here} stands on no floor"]
    found = []
    for each in imports(source, module, is_package):
        there = room_of(each.module)
        ours = each.module.split(".")[0] in ("tracker", "app")
        if ours and there != here and FLOOR.get(there, 99) >= FLOOR[here]:
            found.append(f"{module}:{each.line}: {here} (floor {FLOOR[here]}) imports {there}")
        if not ours and here not in DOORS.get(there, {here}):
            found.append(f"{module}:{each.line}: {here} imports {there}")
    if here not in SPEAKING:
        found += [f"{module}:{line}: {here} prints" for line in prints(source)]
    return found


def prints(source: str) -> Iterator[int]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print":
            yield node.lineno


def module_name(path: Path) -> str:
    parts = path.relative_to(REPOSITORY).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


FILES = sorted([REPOSITORY / "app.py", *(REPOSITORY / "tracker").rglob("*.py")])
ROOMS = {*FLOOR, *(home_of(module_name(path)) for path in FILES)}


def modules_below(path: Path) -> set[str]:
    """Modules of the same room that a module needs before it can be loaded itself."""
    module = module_name(path)
    tree = ast.parse(path.read_text("utf-8"))
    loaded = ast.Module([node for node in tree.body if isinstance(node, ast.Import | ast.ImportFrom)], [])
    named = {each.module for each in imports(ast.unparse(loaded), module, path.stem == "__init__")}
    found = {name if name in MODULES else name.rpartition(".")[0] for name in named}
    return {name for name in found if name in MODULES and home_of(name) == home_of(module)} - {module}


MODULES = {module_name(path) for path in FILES}


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_a_room_imports_only_from_lower_floors(path: Path) -> None:
    assert faults(path.read_text("utf-8"), module_name(path), path.stem == "__init__") == []


def test_every_room_stands_on_a_floor_and_every_floor_has_its_rooms() -> None:
    assert {home_of(module) for module in MODULES} == set(FLOOR)
    assert len(FLOOR) == sum(map(len, FLOORS.values()))


def test_no_circle_within_a_room() -> None:
    TopologicalSorter({module_name(path): modules_below(path) for path in FILES}).prepare()


def test_the_list_of_where_to_change_what_names_places_that_exist() -> None:
    text = (REPOSITORY / "DEVELOPERS.md").read_text("utf-8")
    rows = re.findall(r"^\| .+ \| (`.+`) \|$", text.partition("### Where do I change")[2].partition("\n## ")[0], re.M)
    named = [place for row in rows for place in re.findall(r"`([^`]+)`", row)]
    assert len(rows) >= 20
    assert [place for place in named if not (REPOSITORY / "tracker" / place).exists()] == []


def test_the_app_stays_a_doorway() -> None:
    assert len((REPOSITORY / "app.py").read_text("utf-8").splitlines()) < 60


@pytest.mark.parametrize(
    ("module", "source", "fault"),
    [
        ("tracker.calibrate.level", "from tracker.store import Store", "calibrate (floor 3) imports store"),
        (
            "tracker.calibrate.level",
            "def f():\n    import tracker.compare.change",
            "calibrate (floor 3) imports compare",
        ),
        ("tracker.calibrate.level", "from tracker import workflow", "calibrate (floor 3) imports workflow"),
        ("tracker.measure.photo", "from .. import photo", "measure (floor 2) imports photo"),
        ("tracker.measure.hair.path", "from ...record import records", "measure (floor 2) imports record"),
        ("tracker.fade.model", "from tracker.calibrate.level import Lift", "fade (floor 2) imports calibrate"),
        ("tracker.measure.photo", "import app", "measure (floor 2) imports app"),
        ("tracker.charts.wear", "from tracker.wear import due", "charts (floor 7) imports wear"),
        ("tracker.cli.command", "def f():\n    from tracker.ui import server", "cli (floor 10) imports ui"),
        ("tracker.ui.server", "from tracker.open import OPEN", "ui (floor 10) imports open"),
        ("tracker.cli.demo", "import streamlit as st", "cli imports streamlit"),
        ("tracker.workflow.visits", "from sqlalchemy import select", "workflow imports sqlalchemy"),
        ("tracker.show.overlay", "def f():\n    from PIL import Image", "show imports PIL"),
        ("tracker.measure.quality", "def f():\n    print(1)", "measure prints"),
        ("tracker.helpers", "", "the room helpers stands on no floor"),
    ],
)
def test_the_walk_finds_a_broken_import(module: str, source: str, fault: str) -> None:
    assert any(fault in found for found in faults(source, module))
