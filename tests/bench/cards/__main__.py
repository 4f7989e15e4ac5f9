"""``python -m tests.bench.cards``: how often cards are found, asked about, missed and invented."""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path


def main() -> int:
    """Print the tables and keep the figures."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # before numpy is loaded
        os.environ.setdefault(name, "1")
    import cv2

    from tests.bench.cards.photos import PARTS
    from tests.bench.cards.report import figures, table, troubles
    from tests.bench.cards.run import SOURCES, cases, run
    from tests.bench.cards.sheet import sheet
    from tests.bench.heads.cards import KINDS
    from tracker.measure.reference_card import CARD_KINDS

    cv2.setNumThreads(1)
    cli = argparse.ArgumentParser(prog="python -m tests.bench.cards", description=__doc__)
    cli.add_argument("--photos", type=Path, required=True, metavar="FOLDER", help="holds the folders fit and held")
    cli.add_argument("--part", choices=PARTS, default="fit", help="held is for the final figure only")
    cli.add_argument("--kind", choices=KINDS, action="append", help="this kind of card only; may be repeated")
    cli.add_argument("--source", choices=SOURCES, action="append", help="these photos only; may be repeated")
    cli.add_argument("--every", type=int, default=1, metavar="N", help="only every Nth photo")
    cli.add_argument("--json", type=Path, metavar="FILE", help="keep all figures in a file")
    cli.add_argument("--sheet", type=Path, metavar="FILE", help="show the ordinary photos in question, as a JPEG")
    args = cli.parse_args()
    kept = {}
    for name in args.kind or KINDS:
        kind = CARD_KINDS[name]
        these = cases(args.photos, args.part, kind, tuple(args.source or SOURCES), args.every)
        answers = run(kind, these, lambda said: print(said, file=sys.stderr))
        kept[name] = figures(answers)
        print(table(name, kept[name]), troubles(answers), sep="\n", flush=True)
        if args.sheet:
            sheet(answers, args.photos / args.part, args.sheet.with_stem(f"{args.sheet.stem}-{name}"))
    if args.json:
        args.json.write_text(json.dumps(kept, indent=1) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
