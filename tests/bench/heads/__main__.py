"""``python -m tests.bench.heads``: a method's figures on the rendered heads."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from pathlib import Path


def main() -> int:
    """Print the tables and keep the figures."""
    # one thread for each of the two processes, set before numpy is loaded
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    import cv2

    from tests.bench.heads.cards import KINDS
    from tests.bench.heads.methods import METHODS
    from tests.bench.heads.report import plain_numbers, tables
    from tests.bench.heads.run import chosen_heads, run

    cv2.setNumThreads(1)
    cli = argparse.ArgumentParser(prog="python -m tests.bench.heads", description=__doc__)
    cli.add_argument("--method", choices=METHODS, default="whole")
    cli.add_argument("--heads", type=int, metavar="N", help="so many heads only, spread over all")
    cli.add_argument("--card", choices=KINDS, action="append", help="this kind of card only; may be repeated")
    cli.add_argument("--lain", action="store_true", help="also three photos of hair that lies as it lay")
    cli.add_argument("--json", type=Path, metavar="FILE", help="keep all figures in a file")
    args = cli.parse_args()
    begin = time.perf_counter()
    progress = "\r{}" if sys.stderr.isatty() else "{}\n"
    places = chosen_heads(args.heads)
    results = run(args.method, places, args.card, tell=lambda said: _tell(progress.format(said)), lain=args.lain)
    if not results.taken:
        cli.error(f"{args.method} cannot use this kind of card")
    print(tables(results))
    print(f"\n{sum(results.taken.values())} photos, {time.perf_counter() - begin:.0f} s", file=sys.stderr)
    if args.json:
        args.json.write_text(json.dumps(plain_numbers(results), indent=1) + "\n", "utf-8")
    return 0


def _tell(said: str) -> None:
    sys.stderr.write(said)
    sys.stderr.flush()


if __name__ == "__main__":
    raise SystemExit(main())
