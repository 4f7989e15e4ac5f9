"""Render all heads, each in a process of its own: python drive.py VARIANT DESIGN.json WEIGHTS.npz OUT [options]

A head whose process crashed is tried again with another seed; what it had finished stays.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

HERE = Path(__file__).resolve().parent
SHARED = HERE.parents[3] / "sample_images" / "make"
TRIES = 6


def take(args: argparse.Namespace, number: int, until: float) -> str:
    """Render one head; says how that went."""
    words = [sys.executable, str(HERE / "take.py"), args.variant, str(args.design), str(args.weights), str(args.out)]
    said = "no time left"
    for attempt in range(TRIES):
        if time.time() > until:
            break
        seed = ["--seed", str(50_000 * attempt), "--until", str(until), *(["--quick"] if args.quick else [])]
        env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(SHARED), os.environ.get("PYTHONPATH", "")])}
        done = subprocess.run([*words, str(number), *seed], env=env, capture_output=True, text=True, check=False)
        if done.returncode == 0:
            return f"done, crashed {attempt} times before"
        said = f"failed: {done.stderr[-300:]}"
    return said


def main() -> None:
    """Command line."""
    cli = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    cli.add_argument("variant")
    for name in ("design", "weights", "out"):
        cli.add_argument(name, type=Path)
    cli.add_argument("--quick", action="store_true", help="drafts a quarter as wide, with a quarter of the paths")
    cli.add_argument("--workers", type=int, default=4, help="heads at once")
    cli.add_argument("--seconds", type=float, default=float("inf"), help="begin nothing after so long")
    args = cli.parse_args()
    until = time.time() + args.seconds
    heads = range(len(json.loads(args.design.read_text())))
    with ThreadPoolExecutor(args.workers) as pool:
        for number, said in zip(heads, pool.map(lambda n: take(args, n, until), heads), strict=True):
            print(f"head {number}: {said}", flush=True)


if __name__ == "__main__":
    main()
