"""``demo``: a made-up studio in the data folder."""

from __future__ import annotations

from tracker.cli.terminal import Progress, printable, say, say_json
from tracker.store import Store, data_folder
from tracker.workflow.demo import load_demo


def demo(as_json: bool, *, quiet: bool = False) -> int:
    """Fill the data folder, which must hold no clients yet.

    Parameters
    ----------
    quiet : bool, show no progress

    Raises
    ------
    TrackerError : there are clients already, the photos are missing, or the folder cannot be used
    """
    with Store(data_folder()) as store:
        with Progress(quiet) as progress:
            load_demo(store, progress=progress.show)
        usage = store.disk.usage()
        folder = str(store.root)
    counts = {"clients": usage.clients, "visits": usage.visits, "photos": usage.pictures}
    if as_json:
        say_json({"folder": folder, **counts})
    else:
        filled = ", ".join(f"{number} {what}" for what, number in counts.items())
        say(f"The demo studio is ready: {filled} in {printable(folder)}.")
    return 0
