"""Kill a program at every step of a job, and say what is found afterwards: python crash_saving.py JOB FOLDER

Each step (a statement, a commit, a file put on the disk, renamed or removed) is the last one of a child
that kills itself there without warning. One line of JSON per step goes to standard output; the last one
is that of the child that was let finish.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
from collections.abc import Callable
from dataclasses import replace
from itertools import count
from pathlib import Path

from crash_studio import add_client, files_with, new_draft, new_photo, new_visit, pictures_in
from sqlalchemy import event

from tracker.records import Client, new_id, now
from tracker.store import Store, check_backup

Job = Callable[[Store], None]

TOKENS = (b"qxnamexq", b"qxnotexq", b"qxbeforexq")


def prepare(root: Path, job: Job) -> None:
    """A studio with one visit of one client; for a merge, two of them."""
    with Store(root) as store:
        for number in range(2 if job is merge else 1):
            client = add_client(store, f"qxnamexq{number or ''}", "qxnotexq")
            visit = new_visit(client.id)
            store.save_visit(visit, [new_photo(store, client.id, b"qxbeforexq", visit_id=visit.id)])


def save(store: Store) -> None:
    """Change the visit through a draft: new pictures, other photos, another note."""
    (visit,) = store.recent_visits(9)
    names = (b"new before", b"new after")
    photos = tuple(new_photo(store, visit.client_id, name, visit_id=visit.id) for name in names)
    changed = replace(visit, note="changed")
    draft = store.save_draft(new_draft(visit.client_id, changed, photos))
    store.save_visit(changed, photos, draft_id=draft.id)


def erase(store: Store) -> None:
    """Erase the client."""
    store.erase_client(store.clients()[0].client.id)


def remove(store: Store) -> None:
    """Delete the visit."""
    store.delete_visit(store.recent_visits(1)[0].id)


def put_back(store: Store) -> None:
    """Delete the visit and take that back."""
    store.put_back(store.delete_visit(store.recent_visits(1)[0].id).token)


def merge(store: Store) -> None:
    """Make both records one."""
    kept, other = (summary.client for summary in store.clients())
    store.merge_clients(kept, other.id, by="the owner")


def bring_in(store: Store) -> None:
    """Take in a list of three clients and a visit of each, at once."""
    clients = [Client(new_id(), f"Listed {number}", "", now()) for number in range(3)]
    store.add_records(clients, [new_visit(client.id, note="listed") for client in clients])


def back_up(store: Store) -> None:
    """Make a first and a second backup: the second shares pictures with the first."""
    store.backup()
    store.backup()


JOBS: dict[str, Job] = {job.__name__: job for job in (save, erase, remove, put_back, merge, bring_in, back_up)}


def die_at(store: Store, last: int) -> None:
    """Arm the process: it ends at its step of that number."""
    steps = count()

    def step(*_: object) -> None:
        if next(steps) == last:
            os.kill(os.getpid(), signal.SIGKILL)

    def counted(real: Callable[..., object]) -> Callable[..., object]:
        def run(*args: object, **kwargs: object) -> object:
            step()
            return real(*args, **kwargs)

        return run

    event.listen(store._engine, "after_cursor_execute", step)
    event.listen(store._engine, "commit", step)
    for name in ("fsync", "replace", "unlink", "rename", "link"):
        setattr(os, name, counted(getattr(os, name)))


def look(root: Path) -> dict[str, object]:
    """What a person finds who opens the studio after the crash."""
    with Store(root) as store:
        with store._reading() as connection:
            sound = connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        photos, drafts = store.photos(), store.drafts()
        wanted = {photo.file for photo in photos} | {photo.file for draft in drafts for photo in draft.photos}
        return {
            "sound": sound and not broken and not store.damaged(),
            "files_match": pictures_in(root) == wanted and not list(root.rglob("*.tmp")),
            "pictures": sorted(store.picture(photo.file).decode() for photo in photos),
            "notes": [visit.note for visit in store.recent_visits(9)],
            "clients": len(store.clients()),
            "drafts": len(drafts),
            "tokens": len(files_with(root, TOKENS)),
            "erased": len(store.erasures()),
            "clients_of_visits": len({visit.client_id for visit in store.recent_visits(9)}),
            "backups": [not check_backup(backup.folder).damaged for backup in store.shelf.backups()],
        }


def main() -> None:
    job, folder = JOBS[sys.argv[1]], Path(sys.argv[2])
    prepare(folder / "start", job)
    for last in count():
        root = folder / "studio"
        shutil.copytree(folder / "start", root)
        child = os.fork()
        if child == 0:
            store = Store(root)
            die_at(store, last)
            job(store)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        print(json.dumps(look(root)), flush=True)
        shutil.rmtree(root)
        shutil.rmtree(folder / "studio-backups", ignore_errors=True)
        if not os.WIFSIGNALED(status):
            sys.exit(os.WEXITSTATUS(status))


if __name__ == "__main__":
    main()
