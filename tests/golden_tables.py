"""Reads the sourced tables in ``tests/golden``: comment lines name the source, then a header, then numbers."""

from __future__ import annotations

import csv
from pathlib import Path

GOLDEN = Path(__file__).parent / "golden"


def read_table(name: str) -> list[dict[str, str]]:
    """Rows of a golden table as dictionaries of text."""
    lines = (GOLDEN / name).read_text("utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
