"""How the record's pages answer as it grows: ``python -m tests.benchmark_record [VISITS ...]``.

Builds studios of 1,000 and 10,000 visits (200 and 2,000 clients, 4,000 and 40,000 photos), opens each in a fresh
process, and prints how long each call and each whole page takes, and how the time grows. A page is a whole run of its
script without a browser. The limit is a second. The status is 1 where one was missed.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

REPOSITORY = Path(__file__).parents[1]
SIZES = (1_000, 10_000)
LIMIT = 1.0  # seconds, issue 4
RUNS = 5


def main() -> int:
    """Measure every size and print the table."""
    sizes = [int(size) for size in sys.argv[1:]] or list(SIZES)
    found = []
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            begin = time.perf_counter()
            _python("tests.large_studio", f"{folder}/studio", str(size))
            print(f"{size} visits written in {time.perf_counter() - begin:.0f} s", flush=True)
            found.append(json.loads(_python("tests.benchmark_record", "in", f"{folder}/studio")))
    heading = ["", *(f"{size} visits" for size in sizes), "growth", "of which computing"]
    rows = [heading]
    for name in found[0]:
        times, computing = [each[name][0] for each in found], found[-1][name][1]
        mark = "" if times[-1] <= LIMIT else "OVER 1 s"
        rows.append(
            [
                name,
                *(f"{1e3 * each:.0f} ms" for each in times),
                f"{times[-1] / times[0]:.1f} times",
                f"{1e3 * computing:.0f} ms",
                mark,
            ]
        )
    widths = [max(len(row[column]) for row in rows if column < len(row)) for column in range(len(heading))]
    for row in rows:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, (*widths, 0), strict=False)).rstrip())
    return int(any(each > LIMIT for each, _ in found[-1].values()))


def _python(module: str, *words: str) -> str:
    command = [sys.executable, "-m", module, *words]
    return subprocess.run(command, cwd=REPOSITORY, check=True, stdout=subprocess.PIPE, text=True).stdout


def measure(home: Path) -> dict[str, tuple[float, float]]:
    """Seconds for each call and each page, in this process, and how many of them it computed."""
    os.environ["TRACKER_HOME"] = str(home)
    sys.path.insert(0, str(REPOSITORY / "tests"))
    from tracker.ui import session
    from tracker.workflow.results import Start, past_results
    from tracker.workflow.wearing import catch_up

    store = session.open_store()
    begin = time.perf_counter()
    catch_up(store)  # as the running program does beside its pages
    print(f"wear of all clients worked out in {time.perf_counter() - begin:.0f} s", file=sys.stderr)
    summaries = store.clients.summaries()
    often = max(summaries, key=lambda summary: summary.visits).client.id
    usual = min(summaries, key=lambda summary: abs(summary.visits - 5)).client.id
    visit = store.visits.of_client(usual)[0].id
    works: dict[str, Callable[[], object]] = {
        "call: list of clients": store.clients.summaries,
        "call: clients by name": lambda: store.clients.summaries("ada"),
        "call: search in visits": lambda: store.visits.find("smoke honey"),
        "call: search that finds nothing": lambda: store.visits.find("zzzz"),
        "call: past results": lambda: past_results(store, Start("mid", (3.0, 5.0), None, "")),
        "call: past results, all": lambda: past_results(store, Start("mid", (1.0, 10.0), None, "")),
        "call: list of the portfolio": store.portfolio.visits,
        "call: recent visits": lambda: store.visits.recent(8),
        "call: one client's photos": lambda: store.photos.find(client_id=usual),
        "page: Today": lambda: page("today"),
        "page: Clients": lambda: page("clients"),
        "page: Clients, a name typed": lambda: page("clients", "ada"),
        "page: Clients, words of visits typed": lambda: page("clients", "smoke honey"),
        "page: a client": lambda: page("client", client=usual),
        "page: a client of 60 visits": lambda: page("client", client=often),
        "page: a visit": lambda: page("compare", visit=visit),
        "page: Past results": lambda: page("results"),
        "page: Who is due": lambda: page("due"),
        "page: How services wear": lambda: page("services_wear"),
        "page: Portfolio": lambda: page("portfolio"),
        "page: Studio": lambda: page("studio"),
        "page: My data": lambda: page("data"),
    }
    return {name: seconds(work) for name, work in works.items()}


def seconds(work: Callable[[], object]) -> tuple[float, float]:
    """Medians of some runs after one to warm up; a slow one is measured less often.

    Where other programs keep the computer busy, the second number says what the work itself takes.
    """
    times, computed = [], []
    for _ in range(RUNS + 1):
        begin, busy = time.perf_counter(), time.process_time()
        work()
        times.append(time.perf_counter() - begin)
        computed.append(time.process_time() - busy)
        if sum(times) > 20:
            break
    return median(times[1:] or times), median(computed[1:] or computed)


def page(name: str, typed: str = "", **query: str) -> None:
    """One whole run of a page; none may fail."""
    from streamlit.testing.v1 import AppTest
    from test_pages_harness import SCRIPT

    test = AppTest.from_string(SCRIPT, default_timeout=120)
    test.session_state["page-asked"] = name
    if typed:
        test.session_state["find-client"] = typed
    for key, value in query.items():
        test.query_params[key] = value
    test.run()
    if test.exception:
        raise SystemExit(f"{name}: {test.exception[0].message}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["in"]:
        print(json.dumps(measure(Path(sys.argv[2]))))
    else:
        raise SystemExit(main())
