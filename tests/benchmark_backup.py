"""How long backups take as the record grows: ``python -m tests.benchmark_backup [VISITS ...]``.

Builds studios of 1,000 and 10,000 visits with a before and an after of their own each, and times the first backup, the
next one and a restore. Beside them stands a plain verified copy of the studio's folder in the same run: every file is
read, hashed, written, put safely on the disk, read again and hashed again, then the folders are put safely on the disk.
Ten times the record may take at most 12 times the time, and a backup or restore at most 3 times the plain copy. The
status is 1 where one of these was missed.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # the records, as pytest finds them

from crash_studio import MARKS, add_client, reading
from sqlalchemy import insert

from tracker.record.records import PhotoRecord, Visit, new_id, now
from tracker.store import Store, restore, schema
from tracker.store.counted import recount
from tracker.store.engine import make_engine
from tracker.store.folder import sync_folders
from tracker.store.pictures import name_of
from tracker.store.rows import photo_row, visit_row

SIZES = (1_000, 10_000)
PICTURE_BYTES = 4_000
GROWTH, OVER_A_COPY = 12.0, 3.0  # limits of our own
SEED = 9

Times = dict[str, float]


def main() -> int:
    """Measure every size and print the table."""
    sizes = [int(size) for size in sys.argv[1:]] or list(SIZES)
    found = [measured(size) for size in sizes]
    missed = False
    for name in found[0]:
        times = [each[name] for each in found]
        growth = times[-1] / times[0] / (sizes[-1] / sizes[0] / 10)
        over = times[-1] / found[-1]["plain verified copy"]
        bad = name in ("first backup", "restore") and (growth > GROWTH or over > OVER_A_COPY)
        missed |= bad
        cells = [f"{each:8.2f} s" for each in times]
        print(f"{name:22}", *cells, f"{growth:5.1f} for ten times, {over:4.1f} copies", "MISSED" if bad else "")
    return int(missed)


def measured(visits: int) -> Times:
    """Seconds for each, in a studio of so many visits."""
    with tempfile.TemporaryDirectory() as folder:
        root, times = Path(folder) / "studio", Times()
        build(root, visits)
        times["plain verified copy"] = timed(lambda: plain_copy(root, Path(folder) / "copy"))
        shutil.rmtree(Path(folder) / "copy")
        with Store(root) as store:
            made: list[Path] = []
            times["first backup"] = timed(lambda: made.append(store.backups.make()))
            times["next backup"] = timed(lambda: made.append(store.backups.make()))
            fresh = (b"%d" % number * 100 for number in count())
            times["100 photos put"] = timed(lambda: [store.pictures.put(next(fresh)) for _ in range(100)])
            times["100 looks at the room"] = timed(lambda: [store.disk.room() for _ in range(100)])
        times["restore"] = timed(lambda: restore(made[0], Path(folder) / "new"))
    return times


def build(root: Path, visits: int) -> None:
    """Fill a new studio: a client to five visits, two pictures of their own to a visit."""
    rng, kept = random.Random(SEED), reading()  # noqa: S311 - no secret
    with Store(root) as store:
        owners = [add_client(store, f"Client {number}").id for number in range(max(1, visits // 5))]
        rows, photos = [], []
        for number in range(visits):
            visit = Visit(new_id(), owners[number % len(owners)], now().date(), ("toner",), (), "", "", now())
            rows.append(visit_row(visit))
            for role in ("before", "after"):
                content = rng.randbytes(PICTURE_BYTES)
                name = name_of(content)
                store.database.pictures.take(name, content)
                photo = PhotoRecord(
                    new_id(), visit.client_id, visit.id, role, now(), now(), "Camera", "daylight", name, (100, 90),
                    MARKS, kept,
                )  # fmt: skip
                photos.append(photo_row(photo))
        engine = make_engine(store.database.layout.database)  # past the unit of work: nothing of the visits is read
        with engine.begin() as connection:
            connection.execute(insert(schema.visit), rows)
            connection.execute(insert(schema.photo), photos)
            recount(connection, store.database.pictures)
        engine.dispose()
    os.sync()  # what was built is not written while something is timed


def plain_copy(source: Path, target: Path) -> None:
    """Copy a folder file by file, as anybody would who wants to be sure of the copy."""
    for folder, _, names in os.walk(source):
        to = target / Path(folder).relative_to(source)
        to.mkdir(parents=True)
        for name in names:
            content = (Path(folder) / name).read_bytes()
            with (to / name).open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            if hashlib.sha256((to / name).read_bytes()).digest() != hashlib.sha256(content).digest():
                raise SystemExit(f"{name} was not copied as it is")
    sync_folders(target)


def timed(work: Callable[[], object]) -> float:
    """Seconds that it takes."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


if __name__ == "__main__":
    raise SystemExit(main())
