"""What pages keep: one typed object with one owner, found by an erasure; and no mathematics in pages."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import is_dataclass
from importlib import import_module
from pathlib import Path

from streamlit.testing.v1 import AppTest

from tracker import ui
from tracker.ui.parts.held import key_of

FACE = Path(ui.__file__).parent

TOUCH_THE_SESSION = {
    "parts/held.py": "keeps what pages and parts hold",
    "parts/forgetting.py": "walks all keys after an erasure",
    "components/point_editor/__init__.py": "reads what its own component keeps",
    "pages/merge.py": "fills its search field in",
    "pages/new_visit/gone.py": "reads what stands in the fields of a draft that is gone",
    "pages/new_visit/marks.py": "moves its own field to another photo",
    "pages/new_visit/step_cost.py": "fills an untouched field in anew",
    "parts/client_care.py": "asks whether its field still has what was typed",
}
"""Who may touch the session, and why: Streamlit keeps the values of fields and components there as well."""

COMPUTING = {"cmath", "colour", "cv2", "math", "numpy", "pandas", "scipy", "skimage", "statistics"}

KEEPERS = {"held", "found", "put", "drop"}


def modules() -> Iterator[tuple[str, ast.Module]]:
    """Every module of the face, with its path below it."""
    for path in sorted(FACE.rglob("*.py")):
        yield path.relative_to(FACE).as_posix(), ast.parse(path.read_text("utf-8"))


def test_the_session_is_touched_where_it_must_be_and_nowhere_else() -> None:
    touching = set()
    for name, tree in modules():
        for node in ast.walk(tree):
            named = getattr(node, "attr", None) or getattr(node, "id", None) or getattr(node, "name", None)
            if named == "session_state":
                touching.add(name)
    assert touching == set(TOUCH_THE_SESSION)


def test_what_is_kept_belongs_to_the_module_that_keeps_it() -> None:
    """Each class that is kept is a dataclass of the very module that asks for it."""
    kept = set()
    for name, tree in modules():
        own = {node.name for node in tree.body if isinstance(node, ast.ClassDef)}
        if name == "parts/held.py" or not _imports_from_held(tree):
            continue
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in KEEPERS:
                kind = _kind(node, own)
                if kind is not None:
                    assert kind in own, f"{name}: {ast.unparse(node)}"
                    module = import_module("tracker.ui." + name.removesuffix(".py").replace("/", "."))
                    assert is_dataclass(getattr(module, kind)), (name, kind)
                    kept.add((name, kind))
    assert len(kept) > 20


def _imports_from_held(tree: ast.Module) -> bool:
    return any(isinstance(node, ast.ImportFrom) and node.module == "tracker.ui.parts.held" for node in ast.walk(tree))


def _kind(call: ast.Call, own: set[str]) -> str | None:
    """The class that a call is about; None for a thing by its name, whose class is told where it was made."""
    first = call.args[0]
    if isinstance(first, ast.Call) and isinstance(first.func, ast.Name):
        return first.func.id
    assert isinstance(first, ast.Name), ast.unparse(call)
    return first.id if first.id[0].isupper() or first.id.startswith("_") or first.id in own else None


def test_no_two_owners_share_a_key() -> None:
    from tracker.ui.pages.new_visit import gone

    assert key_of(gone._Seen, "one") != key_of(gone._Typed, "one")
    assert key_of(gone._Seen, "one") != key_of(gone._Seen, "other")
    assert "one" in key_of(gone._Seen, "one")


COUNTING = """
import dataclasses
import streamlit as st
from tracker.ui.parts.held import drop, found, held, put

@dataclasses.dataclass
class Runs:
    number: int = 0

runs = held(Runs, "one")
runs.number += 1
st.text(f"{runs.number} {held(Runs, 'other').number} {found(Runs, 'nobody')}")
if st.button("Anew"):
    st.text(f"{put(Runs(7), 'one') is found(Runs, 'one')} {found(Runs, 'one').number}")
if st.button("Drop"):
    drop(Runs, "one")
    drop(Runs, "nobody")
"""


def test_a_window_keeps_what_it_holds_until_it_is_dropped() -> None:
    test = AppTest.from_string(COUNTING).run()
    assert [text.value for text in test.text] == ["1 0 None"]
    assert [text.value for text in test.run().text] == ["2 0 None"]
    assert [text.value for text in test.button[0].click().run().text] == ["3 0 None", "True 7"]
    assert [text.value for text in test.button[1].click().run().text] == ["8 0 None"]
    assert [text.value for text in test.run().text] == ["1 0 None"]
    # another window has its own
    assert [text.value for text in AppTest.from_string(COUNTING).run().text] == ["1 0 None"]


def test_no_mathematics_stands_in_the_pages() -> None:
    """Whatever works with numbers has a room of its own below, where it is tested without a page."""
    for name, tree in modules():
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                imported = {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                imported = {node.module or ""}
            else:
                continue
            assert not {module.split(".")[0] for module in imported} & COMPUTING, f"{name}:{node.lineno}"
