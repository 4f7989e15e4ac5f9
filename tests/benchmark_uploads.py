"""Forty photos at once: ``python -m tests.benchmark_uploads`` prints memory and answering times against their limits.

A real server and a real browser: five windows, each with four photos of 12 megapixels for either state, handed over at
once. Memory is that of the server and everything it started. The status is always 0, as in `tests.benchmark`.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import psutil

from tests.benchmark import SCALE, SCENE, Line, cells
from tests.browser.conftest import BROWSERS, FLAGS, serving
from tests.scenes import photograph, scene
from tracker import workflow
from tracker.record.records import MEASURING, PORTFOLIO
from tracker.store import Store

REPOSITORY = Path(__file__).parents[1]
WINDOWS, EACH = 5, 4
PHOTOS = 2 * WINDOWS * EACH
LONGEST_SECONDS = 600


@dataclass
class Seen:
    """What was seen while photos were taken in."""

    peak: int = 0
    slowest: float = 0.0
    failed: int = 0


def main() -> int:
    """Run it once and print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        photos = draw(folder)
        with Store(folder / "studio") as store:
            asked = [workflow.add_client(store, f"Client {n}", "", CONSENT, "me").id for n in range(WINDOWS)]
        with serving(REPOSITORY / "app.py", folder / "studio", folder / "log") as address:
            before = tree(server())
            began = time.perf_counter()
            with watching(address) as seen:
                hand_over(address, asked, photos, lambda: kept(folder / "studio"))
            taken = time.perf_counter() - began
            time.sleep(2)
            after, there = tree(server()), kept(folder / "studio")
    lines = [
        Line("photos handed over", str(PHOTOS)),
        Line("photos kept", str(there), f"all {PHOTOS}", there == PHOTOS),
        Line("from the first to the last", f"{taken:.1f} s"),
        Line("memory before", f"{before / 1e6:.0f} MB"),
        Line("peak memory, the worker included", f"{seen.peak / 1e6:.0f} MB", "at most 1500 MB", seen.peak <= 1.5e9),
        Line("memory afterwards", f"{after / 1e6:.0f} MB"),
        Line("slowest answer to /_stcore/health", f"{seen.slowest:.2f} s", "at most 1 s", seen.slowest <= 1),
        Line("health checks without an answer", str(seen.failed), "none", seen.failed == 0),
    ]
    widths = [max(len(cell) for cell in column) for column in zip(*map(cells, lines), strict=True)]
    for line in lines:
        print("  ".join(cell.ljust(width) for cell, width in zip(cells(line), widths, strict=True)).rstrip())
    return 0


CONSENT = {MEASURING: True, PORTFOLIO: False}


def draw(folder: Path) -> list[Path]:
    """So many different photos of 4032 x 3024 pixels: the scene of the tests, with other noise in a strip of each."""
    size = (SCALE * SCENE[0], SCALE * SCENE[1])
    linear = cv2.resize(scene(size=SCENE), size, interpolation=cv2.INTER_CUBIC)
    codes = cv2.cvtColor(photograph(linear, noise=0.06).encoded, cv2.COLOR_RGB2BGR)
    rng, paths = np.random.default_rng(3), []
    for number in range(PHOTOS):
        codes[:64] = rng.integers(60, 200, (64, size[0], 3), dtype=np.uint8)
        paths.append(folder / f"{number}.jpg")
        cv2.imwrite(str(paths[-1]), codes, [cv2.IMWRITE_JPEG_QUALITY, 90])
    return paths


def hand_over(address: str, clients: list[str], photos: list[Path], kept_now: Any) -> None:
    """Put the photos into all windows, one right after another, and wait until the studio has them."""
    from playwright.sync_api import sync_playwright

    found = next(path for name in BROWSERS if (path := shutil.which(name)))
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=list(FLAGS))
        pages = [browser.new_context().new_page() for _ in clients]
        for page, client in zip(pages, clients, strict=True):
            page.goto(f"{address}/new-visit?client={client}")
            page.locator("input[type=file]").nth(1).wait_for(state="attached", timeout=60_000)
        rest = iter(photos)
        for role in (0, 1):
            for page in pages:
                page.locator("input[type=file]").nth(role).set_input_files([next(rest) for _ in range(EACH)])
        for _ in range(LONGEST_SECONDS):
            if kept_now() >= PHOTOS:
                break
            pages[0].wait_for_timeout(1000)
        browser.close()


def kept(studio: Path) -> int:
    """Photos in the drafts of a studio."""
    with closing(sqlite3.connect(f"file:{studio / 'database.sqlite'}?mode=ro", uri=True)) as database:
        return sum(len(json.loads(row)["photos"]) for (row,) in database.execute("select record from draft"))


def server() -> psutil.Process:
    """The server that `serving` started."""
    return next(child for child in psutil.Process().children() if "streamlit" in child.cmdline())


def tree(root: psutil.Process) -> int:
    """Bytes that a process and all below it hold."""
    held = 0
    for process in (root, *root.children(recursive=True)):
        try:
            held += process.memory_info().rss
        except psutil.NoSuchProcess:
            continue
    return held


@contextmanager
def watching(address: str) -> Iterator[Seen]:
    """Look at memory and ask for health, each in a thread of its own, until the context ends."""
    seen, done, root = Seen(), threading.Event(), server()

    def look() -> None:
        while not done.wait(0.02):
            seen.peak = max(seen.peak, tree(root))

    def ask() -> None:
        while not done.wait(0.05):
            began = time.perf_counter()
            try:
                with urllib.request.urlopen(f"{address}/_stcore/health", timeout=10) as answer:
                    answer.read()
            except OSError:
                seen.failed += 1
            seen.slowest = max(seen.slowest, time.perf_counter() - began)

    threads = [threading.Thread(target=work) for work in (look, ask)]
    for thread in threads:
        thread.start()
    try:
        yield seen
    finally:
        done.set()
        for thread in threads:
            thread.join()


if __name__ == "__main__":
    sys.exit(main())
