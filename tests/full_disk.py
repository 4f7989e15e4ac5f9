"""What works on a disk that is full to the last byte: python full_disk.py FOLDER JOB...

FOLDER/disk/JOB is the folder of a small file system of its own for each job, FOLDER/other/JOB one on another disk. Each
job is a child of its own, and writes one JSON object to FOLDER/found/JOB, or what went wrong there.
"""

from __future__ import annotations

import io
import json
import os
import sys
import traceback
import zipfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from crash_studio import add_client, files_with, save_pair
from test_store_erase import TOKENS, plant

from tracker.errors import StoreError, StoreFull
from tracker.store import Store, erasure, room
from tracker.workflow.export import export_client, export_everything

Found = dict[str, object]


def fill(disk: Path) -> Path:
    """Write until not one more byte fits."""
    path = disk / f"filler-{len(list(disk.glob('filler*')))}"
    with path.open("wb", buffering=0) as file:
        for size in (1024**2, 4096, 1):
            with suppress(OSError):
                while file.write(b"\xa5" * size) == size:
                    pass
    return path


def build(home: Path) -> str:
    """Twenty clients, and one with tokens in whatever can hold words or bytes; returns the identifier of that one."""
    with Store(home) as store:
        for number in range(20):
            save_pair(store, add_client(store, f"Other {number}").id, b"b%d" % number, os.urandom(3000))
        return plant(store)


def state(home: Path, store: Store) -> Found:
    """What is there: tokens, clients, pictures that can be read."""
    photos = store.photos.find()
    return {
        "tokens": [name for name, _ in files_with(home, TOKENS)],
        "clients": len(store.clients.summaries()),
        "photos": len([store.pictures.get(photo.file) for photo in photos]),
        "erased": len(store.erasures.all()),
    }


def finished(store: Store) -> bool:
    with store.database.reading() as connection:
        return connection.exec_driver_sql("SELECT count(*) FROM erasure WHERE finished_at IS NULL").scalar() == 0


def closed_studio(disk: Path, other: Path) -> Found:
    """Open a studio that was closed when the disk ran full, look, hand out, take out, erase."""
    home = disk / "studio"
    victim = build(home)
    with Store(home) as store:
        store.disk.keep_reserve()
    filler = fill(disk)
    with Store(home) as store:
        fill(disk)
        before = state(home, store)
        content, _ = export_client(store, victim)
        folder, _ = export_everything(store, elsewhere=other)
        refused = ""
        try:
            store.pictures.put(b"one more photo")
        except StoreFull as error:
            refused = error.what
        receipt = store.erasures.erase(victim)
        found = {
            "before": before,
            "after": state(home, store),
            "files": receipt.counts.files,
            "handed out": len(zipfile.ZipFile(io.BytesIO(content)).namelist()),
            "taken out": len(list((folder / "clients").iterdir())),
            "refused": refused,
        }
    for path in (filler, disk / "filler-1"):
        path.unlink()
    with Store(home) as store:
        store.disk.keep_reserve()
        found["reserve"] = (home / "reserve.bin").stat().st_size
        found["finished"] = finished(store)
    return found


def no_reserve(disk: Path, _other: Path) -> Found:
    """Open a studio on a full disk where nothing was kept back: told in words, and nothing changes."""
    home = disk / "studio"
    build(home)
    filler = fill(disk)
    try:
        Store(home).close()
        told = "opened"
    except StoreError as error:
        told = f"{type(error).__name__}: {error.what}"
    filler.unlink()
    with Store(home) as store:
        return {"told": told, "after": state(home, store)}


def many_words(disk: Path, _other: Path) -> Found:
    """Erase where the disk has no room to write the file of a large record once more."""
    home = disk / "studio"
    victim = build(home)
    with Store(home) as store:
        for number in range(30):
            add_client(store, f"Long {number}", f"{number} words " * 100_000)
        store.disk.keep_reserve()
    filler = fill(disk)
    with Store(home) as store:
        store.erasures.erase(victim)
        found: Found = {"after": state(home, store), "finished": finished(store)}
    filler.unlink()
    with Store(home) as store:
        found["then finished"] = finished(store)
        found["then"] = state(home, store)
    return found


def filled_meanwhile(disk: Path, other: Path) -> Found:
    """As `many_words`, with a disk that seems to have room until the file is being written."""
    erasure.free_bytes = lambda _folder: 10**15
    return many_words(disk, other)


def pictures_first(disk: Path, _other: Path) -> Found:
    """Erase a client with more words than the room that is left can log, and pictures that make it."""
    home = disk / "studio"
    build(home)
    room.RESERVE_BYTES = 2 * 1024**2
    with Store(home) as store:
        client = add_client(store, TOKENS[0].decode(), TOKENS[1].decode() * 400_000)
        save_pair(store, client.id, TOKENS[4] + os.urandom(9_000_000), os.urandom(9_000_000))
        store.disk.keep_reserve()
    filler = fill(disk)
    with Store(home) as store:
        receipt = store.erasures.erase(client.id)
        left = [summary for summary in store.clients.summaries() if summary.client.id == client.id]
        found: Found = {"files": receipt.counts.files, "left": len(left), "erased": len(store.erasures.receipts())}
    filler.unlink()
    with Store(home) as store:
        for summary in store.clients.summaries():  # the other one with tokens
            if summary.client.name.startswith("qx"):
                store.erasures.erase(summary.client.id)
        return {**found, "then": state(home, store)}


def pages(disk: Path, _other: Path) -> Found:
    """Open every page."""
    os.environ["TRACKER_HOME"] = str(disk / "studio")
    build(disk / "studio")
    from test_pages_harness import open_page, words

    from tracker.ui import session
    from tracker.ui.navigation import ENTRIES

    session.open_store().disk.keep_reserve()
    session.close_stores()
    fill(disk)
    store = session.open_store()
    fill(disk)
    client = store.clients.summaries("other")[0].client
    asked = {"client": client.id, "visit": store.visits.of_client(client.id)[0].id}
    failed, markdown = [], {}
    for entry in ENTRIES:
        test = open_page(entry.name, **asked)
        markdown[entry.name] = [element.value for element in (*test.markdown, *test.warning)]
        if test.exception or "t-failure" in words(test):
            failed.append(entry.name)
    session.close_stores()
    return {"failed": failed, "pages": len(markdown), "today": markdown["today"], "data": markdown["data"]}


JOBS: dict[str, Callable[[Path, Path], Found]] = {
    job.__name__: job for job in (closed_studio, no_reserve, many_words, filled_meanwhile, pictures_first, pages)
}


def run(job: str, folder: Path) -> None:
    """Do one job, in a child: a job may change the program to try it."""
    child = os.fork()
    if child == 0:
        try:
            found: Found = JOBS[job](folder / "disk" / job, folder / "other" / job)
        except BaseException:
            found = {"failed with": traceback.format_exc()}
        (folder / "found" / job).write_text(json.dumps(found))
        os._exit(0)
    os.waitpid(child, 0)


if __name__ == "__main__":
    for job in sys.argv[2:]:
        run(job, Path(sys.argv[1]))
