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

from tracker.store import Store

TOKENS = (b"qxnamexq", b"qxnotexq", b"qxbeforexq")


def prepare(root: Path) -> None:
    """A studio with one visit of one client."""
    with Store(root) as store:
        client = add_client(store, "qxnamexq", "qxnotexq")
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
    for name in ("fsync", "replace", "unlink"):
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
        }


def main() -> None:
    job, folder = {"save": save, "erase": erase, "remove": remove}[sys.argv[1]], Path(sys.argv[2])
    prepare(folder / "start")
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
        if not os.WIFSIGNALED(status):
            sys.exit(os.WEXITSTATUS(status))


if __name__ == "__main__":
    main()
