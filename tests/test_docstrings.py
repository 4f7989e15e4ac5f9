"""Every public function of the core says what each of its parameters is (numpydoc), and its examples are true."""

from __future__ import annotations

import ast
import doctest
import importlib
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

PACKAGE = Path(__file__).parents[1] / "tracker"
ROOMS = ("maths", "measure", "calibrate", "compare", "fade", "record", "wear")
MODULES = [path for room in ROOMS for path in sorted((PACKAGE / room).rglob("*.py"))]


def _public(body: list[ast.stmt], within: str = "") -> Iterator[tuple[str, ast.FunctionDef]]:
    for node in body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef) and not node.name.startswith("_"):
            if isinstance(node, ast.ClassDef):
                yield from _public(node.body, f"{within}{node.name}.")
            else:
                yield within + node.name, node


def _parameters(function: ast.FunctionDef) -> list[str]:
    given = function.args
    named = [*given.posonlyargs, *given.args, given.vararg, *given.kwonlyargs, given.kwarg]
    return [each.arg for each in named if each is not None and each.arg not in ("self", "cls")]


def _described(docstring: str) -> set[str]:
    """Names before the colon in the `Parameters` section."""
    section = re.search(r"^Parameters\n-+\n(.*?)(?=^\w+\n-+$|^>>>|\Z)", docstring, re.MULTILINE | re.DOTALL)
    rows = re.findall(r"^([*\w][*\w, ]*) : \S", section[1], re.MULTILINE) if section else []
    return {name.strip(" *") for row in rows for name in row.split(",")}


def undescribed(function: ast.FunctionDef) -> list[str]:
    """Parameters left out; a docstring of one line may name its function's only parameter in backticks instead."""
    docstring, names = ast.get_docstring(function) or "", _parameters(function)
    if len(names) == 1 and "\n" not in docstring and f"`{names[0]}`" in docstring:
        return []
    return [name for name in names if name not in _described(docstring)]


@pytest.mark.parametrize("module", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_every_public_function_describes_its_parameters(module: Path) -> None:
    missing = {
        name: left
        for name, function in _public(ast.parse(module.read_text("utf-8")).body)
        if (left := undescribed(function))
    }
    assert not missing


@pytest.mark.parametrize(
    "module",
    [path for path in MODULES if ">>> " in path.read_text("utf-8")],
    ids=lambda path: path.relative_to(PACKAGE).as_posix(),
)
def test_every_example_gives_what_it_shows(module: Path) -> None:
    name = ".".join(module.relative_to(PACKAGE.parent).with_suffix("").parts)
    with np.printoptions(legacy=False):  # colour-science, once imported, has NumPy print as of old
        found = doctest.testmod(importlib.import_module(name))
    assert found.attempted
    assert not found.failed


@pytest.mark.parametrize(
    ("source", "left"),
    [
        ('def f(a, b):\n    """Sum.\n\n    Parameters\n    ----------\n    a, b : float, mm\n    """', []),
        ('def f(a, b):\n    """Sum.\n\n    Parameters\n    ----------\n    a : float, mm\n    """', ["b"]),
        ('def f(a):\n    """Double of `a`, mm."""', []),
        ('def f(a):\n    """Double of it."""', ["a"]),
        ('def f(a, b):\n    """Sum of `a` and `b`."""', ["a", "b"]),
        ('def f(a):\n    """Double.\n\n    Returns\n    -------\n    a : float\n    """', ["a"]),
        ("def f(a): ...", ["a"]),
        ("def f(): ...", []),
    ],
)
def test_a_parameter_left_out_is_noticed(source: str, left: list[str]) -> None:
    [function] = ast.parse(source).body
    assert isinstance(function, ast.FunctionDef)
    assert undescribed(function) == left
