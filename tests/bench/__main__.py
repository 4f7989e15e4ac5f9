"""``python -m tests.bench``: the bench's figures; with ``--experiment`` those of other ways to correct."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from pathlib import Path
from typing import Any


def main() -> int:
    """Print the tables and keep the figures."""
    args = _arguments()
    # one thread for each of the two processes, set before numpy is loaded
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    begin = time.perf_counter()
    found = _experiment() if args.experiment else _figures(args.only, args.quick)
    print(f"\n{time.perf_counter() - begin:.0f} s", file=sys.stderr)
    if args.json:
        args.json.write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    return 0


def _arguments() -> argparse.Namespace:
    cli = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    cli.add_argument("--quick", action="store_true", help="a few conditions and heads only, under 40 seconds")
    cli.add_argument("--json", type=Path, metavar="FILE", help="keep all figures in a file")
    cli.add_argument("--only", metavar="GROUP", help="conditions of one group, such as glare")
    cli.add_argument("--experiment", action="store_true", help="other corrections on the same photos")
    return cli.parse_args()


def _figures(only: str | None, quick: bool) -> dict[str, Any]:
    from tests.bench.conditions import CONDITIONS, QUICK
    from tests.bench.pipeline import run
    from tests.bench.report import by_light, summary, tables

    chosen = [c for c in CONDITIONS if (not only or only in (c.group, c.name)) and (not quick or c.name in QUICK)]
    if not chosen:
        raise SystemExit(f"no such group; there are {', '.join(dict.fromkeys(c.group for c in CONDITIONS))}")
    cells = run(chosen, heads=5) if quick else run(chosen)
    found = [summary(cell) for cell in cells]
    print(tables(found), by_light(cells), sep="\n\n")
    print(f"\n{sum(cell.photos for cell in cells)} photos", file=sys.stderr)
    return {"cells": found}


def _experiment() -> dict[str, Any]:
    from tests.bench import carried, chart_photos, experiment

    light = [*carried.run(), *carried.rendered()]
    print(carried.tables(light), flush=True)
    simulated, published = experiment.figures(experiment.run()), chart_photos.figures()
    print("", experiment.tables(simulated), chart_photos.tables(published), sep="\n\n")
    return {"carried light": light, "experiment": simulated, "chart photos": published}


if __name__ == "__main__":
    raise SystemExit(main())
