"""What a program leaves that dies at any step of a job: python crash_saving.py JOB FOLDER

At each step (a statement, a commit, a file written in place, put on the disk, renamed or removed) the files of a child
are looked at as they are then. One line of JSON per step goes to standard output; the last one is of the child's end.

``python crash_saving.py all FOLDER --kills 300`` kills a child without warning, every job at least once, each time at
a step by chance, checks each time that nothing is lost and nothing in between, and prints how many kills that were.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import shutil
import signal
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path
from typing import Any

from crash_studio import add_client, files_with, new_draft, new_photo, new_visit, pictures_in
from sqlalchemy import Engine, event

from tracker import METHOD_VERSION
from tracker.measure.reading import RIBBON, WHOLE
from tracker.record.records import Client, new_id, now
from tracker.store import Store, check_backup, restore
from tracker.store.mark import MarkFile, read_mark
from tracker.workflow.demo import read_samples, sample_folder
from tracker.workflow.remeasuring import measure_again

State = dict[str, Any]

_NEVER = -1
TOKENS = (b"qxnamexq", b"qxnotexq", b"qxbeforexq")
ORPHAN = b"nobody's"


def prepare(root: Path, job: Job) -> None:
    """A studio with one visit of one client; for a merge, two of them; for a restore, a backup."""
    with Store(root) as store:
        for number in range(2 if job.name == "merge" else 1):
            client = add_client(store, f"qxnamexq{number or ''}", "qxnotexq")
            visit = new_visit(client.id)
            store.visits.save(visit, [new_photo(store, client.id, b"qxbeforexq", visit_id=visit.id)])
        if job.name == "bring_back":
            store.backups.make(root.parent / "backups")
        if job.name == "remeasure":
            for sample in read_samples(sample_folder())[:2]:
                photo = new_photo(store, client.id, sample.path.read_bytes(), role="progress")
                store.photos.save(replace(photo, marks=sample.marks))
        if job.name == "set_aside":
            lost = store.photos.save(new_photo(store, client.id, b"lost", role="progress")).file
            aside = root / "set-aside" / "2026-01-02" / f"{lost}.jpg"
            aside.parent.mkdir(parents=True)
            store.pictures.path(lost).rename(aside)
            store.pictures.put(ORPHAN)


def save(store: Store) -> None:
    """Change the visit through a draft: new pictures, other photos, another note."""
    (visit,) = store.visits.recent(9)
    names = (b"new before", b"new after")
    photos = tuple(new_photo(store, visit.client_id, name, visit_id=visit.id) for name in names)
    changed = replace(visit, note="changed")
    draft = store.drafts.save(new_draft(visit.client_id, changed, photos))
    store.visits.save(changed, photos, draft_id=draft.id)


def erase(store: Store) -> None:
    """Erase the client."""
    store.erasures.erase(store.clients.summaries()[0].client.id)


def remove(store: Store) -> None:
    """Delete the visit."""
    store.visits.delete(store.visits.recent(1)[0].id)


def put_back(store: Store) -> None:
    """Delete the visit and take that back."""
    store.deletions.put_back(store.visits.delete(store.visits.recent(1)[0].id).token)


def merge(store: Store) -> None:
    """Make both records one."""
    kept, other = (summary.client for summary in store.clients.summaries())
    store.clients.merge(kept, other.id, by="the owner")


def bring_in(store: Store) -> None:
    """Take in a list of three clients and a visit of each, at once."""
    clients = [Client(new_id(), f"Listed {number}", "", now()) for number in range(3)]
    store.importing.add(clients, [new_visit(client.id, note="listed") for client in clients])


def remeasure(store: Store) -> None:
    """Measure three photos of an earlier version again, one of which is no picture at all."""
    measure_again(store, store.remeasuring.waiting(METHOD_VERSION))


def back_up(store: Store) -> None:
    """Make a first and a second backup: the second shares pictures with the first."""
    store.backups.make()
    store.backups.make()


def bring_back(root: Path) -> None:
    """Restore the backup into a folder that is not there yet."""
    (backup,) = (root.parent / "backups").iterdir()
    restore(backup, root.parent / "new")


def set_aside(root: Path) -> None:
    """Open the studio: one picture comes back to its record, one that no record names is set aside."""
    Store(root).close()


def mark(root: Path) -> None:
    """Write the note of which studio this is, in place and where it is gone."""
    noted = read_mark(root / "studio.json")
    assert noted is not None
    MarkFile(root / "studio.json").write(noted)
    (root / "studio.json").unlink()
    Store(root).close()


@dataclass(frozen=True)
class Job:
    """Something that is done to a studio, and what must hold however it ends.

    Attributes
    ----------
    name : str
    run : function of the studio's folder; it is killed at any of its steps
    holds : function of what is found afterwards: True where nothing is lost and nothing is in between
    """

    name: str
    run: Callable[[Path, Callable[[], None]], None]
    holds: Callable[[State], bool]


def in_store(work: Callable[[Store], None], holds: Callable[[State], bool]) -> Job:
    """A job within an open store: the steps count once it is open."""

    def run(root: Path, arm: Callable[[], None]) -> None:
        store = Store(root)
        arm()
        work(store)

    return Job(work.__name__, run, holds)


def from_outside(work: Callable[[Path], None], holds: Callable[[State], bool]) -> Job:
    """A job that opens what it needs by itself."""

    def run(root: Path, arm: Callable[[], None]) -> None:
        arm()
        work(root)

    return Job(work.__name__, run, holds)


def _saved(state: State) -> bool:
    old, new = (["qxbeforexq"], [""]), (["new after", "new before"], ["changed"])
    return (state["pictures"], state["notes"]) in (old, new)


def _erased(state: State) -> bool:
    return (state["clients"], state["erased"], state["tokens"] > 0) in ((1, 0, True), (0, 1, False))


def _remeasured(state: State) -> bool:
    # each has its earlier reading, or the new one with the earlier in the log; the one without a picture keeps its own
    old, new = [RIBBON, 0], [WHOLE, 1]
    *rest, unreadable = state["readings"]
    return len(rest) == 2 and all(each in (old, new) for each in rest) and unreadable == old


def _restored(state: State) -> bool:
    untouched = state["pictures"] == ["qxbeforexq"] and state["clients"] == 1
    return untouched and state["left_beside"] == [] and state["restored"] in (None, [["qxbeforexq"], 1, True])


JOBS: dict[str, Job] = {
    job.name: job
    for job in (
        in_store(save, _saved),
        in_store(erase, _erased),
        in_store(remove, lambda state: (len(state["notes"]), state["pictures"]) in ((1, ["qxbeforexq"]), (0, []))),
        in_store(put_back, lambda state: (len(state["notes"]), state["pictures"]) in ((1, ["qxbeforexq"]), (0, []))),
        in_store(
            merge,
            lambda state: (state["clients"], state["clients_of_visits"], len(state["notes"])) in ((2, 2, 2), (1, 1, 2)),
        ),
        in_store(bring_in, lambda state: (state["clients"], len(state["notes"])) in ((1, 1), (4, 4))),
        in_store(remeasure, _remeasured),
        in_store(back_up, lambda state: all(state["backups"])),
        from_outside(bring_back, _restored),
        from_outside(
            set_aside, lambda state: state["pictures"] == ["lost", "qxbeforexq"] and state["aside"] == [ORPHAN.decode()]
        ),
        from_outside(mark, lambda state: state["pictures"] == ["qxbeforexq"]),
    )
}


def at_each_step(sent: Callable[[], signal.Signals | None]) -> None:
    """Arm the process: at each of its steps it sends itself the signal that this gives."""

    def step(*_: object) -> None:
        if (wanted := sent()) is not None:
            os.kill(os.getpid(), wanted)

    def counted(real: Callable[..., object]) -> Callable[..., object]:
        def run(*args: object, **kwargs: object) -> object:
            step()
            return real(*args, **kwargs)

        return run

    event.listen(Engine, "after_cursor_execute", step)
    event.listen(Engine, "commit", step)
    for name in ("fsync", "replace", "unlink", "rename", "link", "write", "mkdir", "rmdir"):
        setattr(os, name, counted(getattr(os, name)))


def look(root: Path) -> State:
    """What a person finds who opens the studio after the crash."""
    with Store(root) as store:
        with store.database.reading() as connection:
            sound = connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        photos, drafts = store.photos.find(), store.drafts.find()
        wanted = {photo.file for photo in photos} | {photo.file for draft in drafts for photo in draft.photos}
        return {
            "sound": sound and not broken and not store.damaged_records() and not store.database.damaged,
            "files_match": pictures_in(root) == wanted and not list(root.rglob("*.tmp")),
            "pictures": sorted(_text(store.pictures.get(photo.file)) for photo in photos),
            "readings": [
                [photo.reading.hair, len(store.edits.find(record_id=photo.id))]
                for photo in sorted(photos, key=lambda each: (each.role == "before", each.file))
                if photo.reading is not None
            ],
            "left": len(store.remeasuring.left(METHOD_VERSION)),
            "notes": [visit.note for visit in store.visits.recent(9)],
            "clients": len(store.clients.summaries()),
            "drafts": len(drafts),
            "tokens": len(files_with(root, TOKENS)),
            "erased": len(store.erasures.all()),
            "clients_of_visits": len({visit.client_id for visit in store.visits.recent(9)}),
            "backups": [not check_backup(backup.folder).damaged for backup in store.backups.shelf.backups()],
            "aside": sorted(store.set_aside.picture(left.name).decode() for left in store.set_aside.pictures()),
            "left_beside": [path.name for path in root.parent.glob(".*")],
            "restored": look_at_restored(root.parent / "new"),
        }


def _text(content: bytes) -> str:
    """A made-up picture as its text, a real one as its length."""
    return content.decode() if len(content) < 1000 else str(len(content))


def look_at_restored(root: Path) -> list[object] | None:
    """Pictures and clients of a studio that was restored, and whether it has a mark; None where there is none."""
    if not root.exists():
        return None
    marked = read_mark(root / "studio.json") is not None
    with Store(root) as store:
        return [
            sorted(store.pictures.get(photo.file).decode() for photo in store.photos.find()),
            len(store.clients.summaries()),
            marked,
        ]


def killed(job: Job, folder: Path, last: int) -> tuple[State, bool]:
    """Let a child do the job and die at a step; returns what is found, and whether it died rather than finished."""
    root = folder / "studio"
    shutil.copytree(folder / "start", root)
    child = os.fork()
    if child == 0:
        steps = count()
        job.run(root, lambda: at_each_step(lambda: signal.SIGKILL if next(steps) == last else None))
        (folder / "steps").write_text(str(next(steps)))
        os._exit(0)
    _, status = os.waitpid(child, 0)
    found = look(root)
    for name in ("studio", "studio-backups", "new"):
        shutil.rmtree(folder / name, ignore_errors=True)
    if not os.WIFSIGNALED(status) and os.WEXITSTATUS(status):
        sys.exit(f"{job.name} failed without being killed")
    return found, os.WIFSIGNALED(status)


def every_step(job: Job, folder: Path) -> Iterator[State]:
    """What is found after dying at each step, and after the end.

    One child does the job and is stopped at each step. What it would leave by dying there is what its files hold then:
    all its threads stand still, what it wrote is with the system, and a copy has none of its locks. ``by_chance`` does
    kill. Steps between which no file changed are looked at once.
    """
    live, copy = folder / "live", folder / "copy"
    prepare(folder / "start", job)
    shutil.copytree(folder / "start", live / "studio")
    if (folder / "backups").exists():
        shutil.copytree(folder / "backups", live / "backups")
    child = os.fork()
    if child == 0:
        job.run(live / "studio", lambda: at_each_step(lambda: signal.SIGSTOP))
        os._exit(0)
    seen: dict[bytes, State] = {}
    stopped = True
    try:
        while stopped:
            _, status = os.waitpid(child, os.WUNTRACED)
            stopped = os.WIFSTOPPED(status)
            if not stopped and status:
                sys.exit(f"{job.name} failed")
            content = content_of(live)
            if content not in seen:
                shutil.copytree(live, copy)
                seen[content] = look(copy / "studio")
                shutil.rmtree(copy)
            yield seen[content]
            if stopped:
                os.kill(child, signal.SIGCONT)
    finally:
        if stopped:
            os.kill(child, signal.SIGKILL)


def content_of(folder: Path) -> bytes:
    """A digest of every file and folder in a folder, by name and content."""
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        inside = path.read_bytes() if path.is_file() else b"folder"
        digest.update(f"{path.relative_to(folder)} {path.is_file()} {len(inside)}\n".encode() + inside)
    return digest.digest()


def by_chance(folder: Path, kills: int, seed: int) -> Counter[str]:
    """Kill at steps by chance, job after job; returns how many kills each got.

    Raises
    ------
    AssertionError : something was lost, or left in between
    """
    chance = random.Random(seed)  # noqa: S311 - which step is no secret
    steps, done = {}, Counter[str]()
    for name, job in JOBS.items():
        prepare(folder / name / "start", job)
        killed(job, folder / name, _NEVER)
        steps[name] = int((folder / name / "steps").read_text())
    while sum(done.values()) < kills:
        for name, job in JOBS.items():
            last = chance.randrange(steps[name])
            found, died = killed(job, folder / name, last)
            assert found["sound"], (name, last, found)
            assert found["files_match"], (name, last, found)
            assert job.holds(found), (name, last, found)
            done[name] += died
    return done


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("job", choices=[*JOBS, "all"])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    if options.job == "all":
        done = by_chance(options.folder, options.kills, options.seed)
        print(f"{sum(done.values())} kills, nothing lost and nothing in between: {dict(done)}")
        return
    for found in every_step(JOBS[options.job], options.folder):
        print(json.dumps(found), flush=True)


if __name__ == "__main__":
    main()
