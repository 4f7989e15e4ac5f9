"""The house has nine floors, and a room looks only down: walks every import and says which one breaks that."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).parents[1]

LAYERS = {
    0: {"tracker", "errors", "quantities"},
    1: {"colorimetry", "polyline", "uncertainty", "rgb_space", "reading", "words"},
    2: {
        "agreed",
        "balance",
        "blend",
        "change",
        "fade",
        "hair",
        "kit",
        "level",
        "level_fit",
        "mixing",
        "neutral_fit",
        "quality",
        "reference_card",
        "regrowth",
        "rendering",
        "repeatability",
        "scale",
        "setup_check",
        "shades",
        "sharpness",
        "warmth",
    },
    3: {"comparison", "marks_file", "measure", "records", "repeat", "states", "yardsticks"},
    4: {"alignment", "aloud", "calendar_file", "charts", "outcomes", "overlay", "portfolio", "report", "wear"},
    5: {"photo", "store"},
    6: {"workflow"},
    7: {"cli", "ui"},
    8: {"open"},
    9: {"__main__", "app"},
}
LAYER = {room: layer for layer, rooms in LAYERS.items() for room in rooms}

# Rooms of one layer that stand in an order, each pair with its reason: the first may import the second.
ORDER = {
    ("reference_card", "balance"): "a kind of card says which correction is made from it",
    ("reference_card", "rendering"): "a kind of card says what it leaves of the camera's error",
    ("agreed", "fade"): "how often hair can be washed is the model's range",
    ("agreed", "level"): "a level that was agreed lies on the scale",
    ("kit", "quality"): "a check says that a photo was a camera's raw file",
    ("quality", "sharpness"): "how blurred a photo is decides a check",
    ("regrowth", "blend"): "the root ends where the lightening starts",
    ("regrowth", "fade"): "a root passes its limit as a colour does",
    ("scale", "reference_card"): "a plain card may be held upright or across",
    ("shades", "reference_card"): "lights and lows are as sure as the maker is of the card's grey",
    ("shades", "rendering"): "lights and lows are as sure as the camera's contrast",
    ("comparison", "repeat"): "what photos of one occasion share, more of them do not settle",
    ("states", "records"): "a state is made of kept photos",
    ("states", "repeat"): "a state says what its repeats say together",
    ("level_fit", "level"): "swatches make the scale that levels are read on",
    ("neutral_fit", "warmth"): "swatches make the locus that warmth counts from",
    ("setup_check", "repeatability"): "what a set-up check finds becomes the scatter in force",
    ("rgb_space", "colorimetry"): "a space is told by its primaries and white",
}

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
    if here not in LAYER:
        return [f"{module}: the room {here} stands in no layer"]
    found = []
    for each in imports(source, module, is_package):
        there = room_of(each.module)
        ours = each.module.split(".")[0] in ("tracker", "app")
        if ours and there != here and not may_import(here, there):
            found.append(f"{module}:{each.line}: {here} (layer {LAYER[here]}) imports {there}")
        if not ours and here not in DOORS.get(there, {here}):
            found.append(f"{module}:{each.line}: {here} imports {there}")
    if here not in SPEAKING:
        found += [f"{module}:{line}: {here} prints" for line in prints(source)]
    return found


def may_import(here: str, there: str) -> bool:
    return there in LAYER and (LAYER[there] < LAYER[here] or (here, there) in ORDER)


def prints(source: str) -> Iterator[int]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print":
            yield node.lineno


def module_name(path: Path) -> str:
    parts = path.relative_to(REPOSITORY).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


FILES = sorted([REPOSITORY / "app.py", *(REPOSITORY / "tracker").rglob("*.py")])
ROOMS = {*LAYER, *(home_of(module_name(path)) for path in FILES)}


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_a_room_imports_only_from_lower_layers(path: Path) -> None:
    assert faults(path.read_text("utf-8"), module_name(path), path.stem == "__init__") == []


def test_every_exception_is_used() -> None:
    used = {
        (home_of(module_name(path)), room_of(each.module))
        for path in FILES
        for each in imports(path.read_text("utf-8"), module_name(path), path.stem == "__init__")
    }
    assert set(ORDER) <= used


def test_the_order_stays_within_a_layer_and_has_no_circle() -> None:
    assert all(LAYER[first] == LAYER[second] for first, second in ORDER)
    below = {first: {second for other, second in ORDER if other == first} for first, _ in ORDER}
    TopologicalSorter(below).prepare()


def test_the_app_stays_a_doorway() -> None:
    assert len((REPOSITORY / "app.py").read_text("utf-8").splitlines()) < 60


@pytest.mark.parametrize(
    ("module", "source", "fault"),
    [
        ("tracker.level", "from tracker.store import Store", "level (layer 2) imports store"),
        ("tracker.level", "def f():\n    import tracker.measure.photo", "level (layer 2) imports measure"),
        ("tracker.level", "from tracker import workflow", "level (layer 2) imports workflow"),
        ("tracker.level", "from . import photo", "level (layer 2) imports photo"),
        ("tracker.hair.path", "from ..measure import measure_photo", "hair (layer 2) imports measure"),
        (
            "tracker.balance",
            "from tracker.reference_card import read_card",
            "balance (layer 2) imports reference_card",
        ),
        ("tracker.fade.model", "from tracker.level import Lift", "fade (layer 2) imports level"),
        ("tracker.measure.photo", "import app", "measure (layer 3) imports app"),
        ("tracker.cli.demo", "import streamlit as st", "cli imports streamlit"),
        ("tracker.cli.command", "def f():\n    from tracker.ui import server", "cli (layer 7) imports ui"),
        ("tracker.ui.server", "from tracker.open import OPEN", "ui (layer 7) imports open"),
        ("tracker.workflow.visits", "from sqlalchemy import select", "workflow imports sqlalchemy"),
        ("tracker.overlay", "def f():\n    from PIL import Image", "overlay imports PIL"),
        ("tracker.quality", "def f():\n    print(1)", "quality prints"),
        ("tracker.helpers", "", "the room helpers stands in no layer"),
    ],
)
def test_the_walk_finds_a_broken_import(module: str, source: str, fault: str) -> None:
    assert any(fault in found for found in faults(source, module))
