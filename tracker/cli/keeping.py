"""``backup``, ``check-backup`` and ``restore``: for when the pages cannot be opened."""

from __future__ import annotations

from pathlib import Path

from tracker.cli.terminal import printable, say, say_json
from tracker.store import Store, check_backup, data_folder
from tracker.workflow.backups import back_up, bring_back


def backup(folder: Path | None, as_json: bool) -> int:
    """Back up the data folder, in the usual place or in a named folder.

    Raises
    ------
    TrackerError : the backup could not be made, or photos are missing or altered
    """
    with Store(data_folder()) as store:
        made = back_up(store) if folder is None else store.backups.make(folder)
    if as_json:
        say_json({"backup": str(made)})
    else:
        say(f"The backup is complete and checked: {printable(str(made))}")
    return 0


def check(folder: Path, as_json: bool) -> int:
    """Read every record and photo of a backup; 1 where photos are missing or altered.

    Raises
    ------
    TrackerError : there is no backup, or its database is damaged
    """
    found = check_backup(folder)
    if as_json:
        say_json({"rows": found.rows, "photos": found.pictures, "damaged": sorted(found.damaged)})
    else:
        say(f"{found.rows} records and {found.pictures} photos are whole; {len(found.damaged)} photos are not.")
    return 1 if found.damaged else 0


def restore(folder: Path, target: Path, as_json: bool) -> int:
    """Bring a backup back into an empty folder, without clients erased since; 1 where photos are missing.

    Raises
    ------
    TrackerError : there is no backup, it is damaged, or the folder is not empty
    """
    back = bring_back(folder, target)
    if as_json:
        counts = {"clients": back.clients, "visits": back.visits, "photos": back.photos}
        say_json({"folder": str(back.folder), **counts, "erased": back.left_out, "damaged": back.damaged})
    else:
        say(
            f"{back.clients} clients, {back.visits} visits and {back.photos} photos are in "
            f"{printable(str(back.folder))}; {back.damaged} photos could not be read. "
            "Start the program with TRACKER_HOME set to this folder."
        )
    return 1 if back.damaged else 0
