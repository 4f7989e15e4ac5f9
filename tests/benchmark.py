"""How fast and how lean: ``python -m tests.benchmark`` prints a table with limits.

Everything is measured in fresh processes of one run, on a drawn 12-megapixel photo, so that numbers can be set against
each other. The status is always 0: on a busy computer a limit can be missed without a fault.
"""

from __future__ import annotations

import json
import os
import re
import resource
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

REPOSITORY = Path(__file__).parents[1]
SCALE = 3  # from the drawn scene to 4032 x 3024 pixels
SCENE = (1344, 1008)
RUNS = 7


@dataclass(frozen=True)
class Line:
    """One line of the table; `ok` is None where there is no limit."""

    what: str
    value: str
    limit: str = ""
    ok: bool | None = None


def main() -> int:
    """Run everything and print the table."""
    with tempfile.TemporaryDirectory() as folder:
        photo = Path(folder) / "photo.jpg"
        in_fresh_process("draw", photo)
        lines = [*speed_lines(photo), memory_line(photo), import_line(), app_line(Path(folder)), fade_line()]
    widths = [max(len(cell) for cell in column) for column in zip(*map(cells, lines), strict=True)]
    for line in lines:
        print("  ".join(cell.ljust(width) for cell, width in zip(cells(line), widths, strict=True)).rstrip())
    return 0


def cells(line: Line) -> tuple[str, str, str, str]:
    mark = "" if line.ok is None else "ok" if line.ok else "MISSED"
    return line.what, line.value, line.limit, mark


def speed_lines(photo: Path) -> list[Line]:
    found = in_fresh_process("speed", photo)
    both, decode, convert, measure = (found[name] for name in ("both", "decode", "convert", "measure"))
    slower, faster, more = both / decode, convert / both, found["read"] / found["here"]
    whole, outline = found["whole"] / decode, found["outline"] / decode
    every, slowest = found["every_kind"] / decode, found["slowest"] / decode
    return [
        Line(found["photo"], ""),
        Line("Pillow, whole photo to an array", f"{1e3 * decode:.0f} ms"),
        Line("scikit-image, whole array to CIELAB", f"{1e3 * convert:.0f} ms"),
        Line(
            "decode it and look for damage, beyond Pillow's decoding",
            f"{1e3 * (found['damage'] - decode):+.0f} ms",
            "at most 10 % of both",
            found["damage"] - decode <= 0.1 * both,
        ),
        Line("decode the photo in this process", f"{1e3 * found['here']:.0f} ms"),
        Line("read it through the worker", f"{1e3 * found['read']:.0f} ms"),
        Line("  against this process", f"{100 * (more - 1):+.0f} %", "at most +10 %", more <= 1.1),
        Line("measure a ribbon, marks given", f"{1e3 * measure:.0f} ms"),
        Line("measure the whole hair, outline given", f"{1e3 * found['whole']:.0f} ms"),
        Line("  against Pillow", f"{whole:.2f} times", "at most 2.5", whole <= 2.5),
        Line("find the outline of the hair, card known", f"{1e3 * found['outline']:.0f} ms"),
        Line("  against Pillow", f"{outline:.2f} times", "at most 3.0", outline <= 3.0),
        Line("search for the card, the slowest kind", f"{1e3 * found['slowest']:.0f} ms"),
        Line("  against Pillow", f"{slowest:.2f} times", "at most 3.0", slowest <= 3.0),
        Line("search for cards of every kind", f"{1e3 * found['every_kind']:.0f} ms"),
        Line("  against Pillow", f"{every:.2f} times", "at most 3.0", every <= 3.0),
        Line("both decoding and measuring a ribbon", f"{1e3 * both:.0f} ms"),
        Line("  against Pillow", f"{slower:.2f} times", "at most 2.0", slower <= 2.0),
        Line("  against scikit-image", f"{faster:.1f} times faster", "at least 8", faster >= 8),
        Line("measuring alone against scikit-image", f"{convert / measure:.1f} times faster"),
    ]


def memory_line(photo: Path) -> Line:
    peak = in_fresh_process("memory", photo)["peak"]
    return Line(
        "peak memory of a process that measures it, worker included", f"{peak:.0f} MB", "at most 450 MB", peak <= 450
    )


def import_line() -> Line:
    def start(statement: str) -> None:
        subprocess.run([sys.executable, "-c", statement], check=True, cwd=REPOSITORY)

    taken = seconds(bare=lambda: start("pass"), tracker=lambda: start("import tracker"))
    more = taken["tracker"] - taken["bare"]
    return Line("import tracker, beyond a bare interpreter", f"{more:+.3f} s", "at most +0.3 s", more <= 0.3)


def fade_line() -> Line:
    taken = in_fresh_process("fade", Path())["fit"]
    return Line("fit the wear of 4 regions, 24 readings each", f"{1e3 * taken:.1f} ms")


def app_line(folder: Path) -> Line:
    taken = median(first_page(folder / f"studio {number}") for number in range(3))
    return Line("app: start to first page", f"{taken:.2f} s", "at most 3 s", taken <= 3)


def first_page(home: Path) -> float:
    """Seconds from ``streamlit run app.py`` with an empty studio until the page is answered."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    words = ["streamlit", "run", "app.py", "--server.port", str(port), "--server.headless", "true"]
    begin = time.perf_counter()
    server = subprocess.Popen(
        [sys.executable, "-m", *words],
        cwd=REPOSITORY,
        env={**os.environ, "TRACKER_HOME": str(home)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        for path in ("/_stcore/health", "/"):
            while not answers(f"http://127.0.0.1:{port}{path}"):
                if server.poll() is not None or time.perf_counter() - begin > 60:
                    return float("inf")
                time.sleep(0.02)
        return time.perf_counter() - begin
    finally:
        server.terminate()
        server.wait(20)


def answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(address, timeout=5) as answer:
            return bool(answer.status == 200 and answer.read())
    except OSError:
        return False


def seconds(**works: Callable[[], object]) -> dict[str, float]:
    """Median time of each of `RUNS` rounds after one to warm up.

    The works take turns, so that whatever else the computer does slows all of them alike.
    """
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(RUNS + 1):
        for name, work in works.items():
            begin = time.perf_counter()
            work()
            times[name].append(time.perf_counter() - begin)
    return {name: median(found[1:]) for name, found in times.items()}


def in_fresh_process(part: str, photo: Path) -> dict[str, Any]:
    """Run one of `PARTS` in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmark", part, str(photo)]
    done = subprocess.run(command, cwd=REPOSITORY, check=True, stdout=subprocess.PIPE, text=True)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


# --- the parts that run in processes of their own -------------------------------------------------------------------


def draw(photo: Path) -> dict[str, Any]:
    """Draw the photo: the scene of the tests, larger, with noise in every pixel."""
    import cv2

    from tests.photo_samples import jpeg
    from tests.scenes import photograph, scene

    width, height = (SCALE * edge for edge in SCENE)
    linear = cv2.resize(scene(size=SCENE), (width, height), interpolation=cv2.INTER_CUBIC)
    photo.write_bytes(jpeg(photograph(linear, noise=0.06).encoded, quality=90, subsampling=2))
    return {}


def marks() -> Any:
    from tests.scenes import CARD, PATH, hair_outline
    from tracker.measure.reading import Marks

    placed = (CARD, PATH, hair_outline(SCENE[1]))
    card, path, outline = (tuple((SCALE * x, SCALE * y) for x, y in points) for points in placed)
    return Marks("grey18", card, path, None, outline=outline)  # type: ignore[arg-type]


def whole_marks() -> Any:
    """The drawn hair, an ellipse, by sixteen points."""
    from dataclasses import replace

    import numpy as np

    turns = 2 * np.pi * np.arange(16) / 16
    x, y = 305 + 170 * np.cos(turns), SCENE[1] // 2 + (SCENE[1] // 2 - 40) * np.sin(turns)
    outline = tuple((float(SCALE * a), float(SCALE * b)) for a, b in zip(x, y, strict=True))
    return replace(marks(), width=None, outline=outline)


def speed(photo: Path) -> dict[str, Any]:
    import io

    import numpy as np
    from PIL import Image
    from skimage.color import rgb2lab

    from tracker.measure import measure_photo
    from tracker.measure.hair import find_hair
    from tracker.measure.reference_card import CARD_KINDS
    from tracker.measure.reference_card.search import reduce
    from tracker.photo import decode_photo, read_photo
    from tracker.photo.damage import decode_jpeg

    content, placed, whole_placed = photo.read_bytes(), marks(), whole_marks()
    whole = np.asarray(Image.open(io.BytesIO(content)))
    picture = read_photo(content)
    height, width = whole.shape[:2]
    searches = [kind.search for kind in CARD_KINDS.values() if kind.search]

    def every_kind() -> None:
        copy: Any = reduce(picture.encoded)  # the searches share their work through it
        for search in searches:
            search(copy, None)

    taken = seconds(
        decode=lambda: np.asarray(Image.open(io.BytesIO(content))),
        convert=lambda: rgb2lab(whole),
        both=lambda: measure_photo(read_photo(content), placed),
        here=lambda: decode_photo(content),
        read=lambda: read_photo(content),
        damage=lambda: decode_jpeg(Image.open(io.BytesIO(content)), content),
        measure=lambda: measure_photo(picture, placed),
        whole=lambda: measure_photo(picture, whole_placed),
        outline=lambda: find_hair(picture.encoded, placed.corners),
        every_kind=every_kind,
        **{f"search {k}": partial(search, picture.encoded, None) for k, search in enumerate(searches)},
    )
    slowest = max(taken[name] for name in taken if name.startswith("search"))
    about = f"photo of {width} x {height} pixels, {len(content) / 1e6:.1f} MB, drawn"
    return {"photo": about, **taken, "slowest": slowest}


def memory(photo: Path) -> dict[str, Any]:
    import psutil

    from tracker.measure import measure_photo
    from tracker.photo import read_photo

    if not measure_photo(read_photo(photo.read_bytes()), marks()).ok:
        raise SystemExit("the drawn photo was not measured")
    waiting = sum(child.memory_info().rss for child in psutil.Process().children())  # the worker, which is idle by then
    return {"peak": peak_memory() + waiting / 1024**2}


def peak_memory() -> float:
    """Most memory that this process ever held, MB.

    What the kernel counts for the process itself is preferred: the other number starts at what the parent held when
    it started this process.
    """
    status = Path("/proc/self/status")
    if status.exists() and (found := re.search(r"VmHWM:\s+(\d+) kB", status.read_text())):
        return int(found[1]) / 1024
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used / (1024**2 if sys.platform == "darwin" else 1024)


def fade(_: Path) -> dict[str, Any]:
    import numpy as np

    from tracker.fade import FadeSeries, fit_fade

    rng = np.random.default_rng(7)
    months = np.linspace(0, 6, 24)
    series = [
        FadeSeries(
            tuple(months),
            tuple(50 + 5 * (1 - np.exp(-rate * months)) + 0.3 * months + 0.5 * rng.normal(size=24)),
            (0.5,) * 24,
            unit="L*",
        )
        for rate in (0.5, 1.0, 2.0, 4.0)
    ]
    return seconds(fit=lambda: [fit_fade(each) for each in series])


PARTS = {"draw": draw, "speed": speed, "memory": memory, "fade": fade}

if __name__ == "__main__":
    if len(sys.argv) > 1:
        print(json.dumps(PARTS[sys.argv[1]](Path(sys.argv[2]))))
    else:
        raise SystemExit(main())
