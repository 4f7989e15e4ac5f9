"""A damaged database: what it means, and the way out."""

from __future__ import annotations

from tracker.store import Store
from tracker.ui.look import failure
from tracker.ui.navigation import link
from tracker.ui.parts.backups_view import backup_words


def warn_about_damage(store: Store, *, leads_on: bool = True) -> None:
    """Say so if pages of the database are damaged.

    Parameters
    ----------
    store : Store
    leads_on : bool, with a link to My data
    """
    if not store.database.damaged:
        return
    backups, where = store.backups.shelf.backups(), "under My data" if leads_on else "below"
    way_out = (
        f"The last backup was whole when it was made ({backup_words(backups[0])}): bring it back into a new folder "
        f"{where}."
        if backups
        else f"There is no backup, so take everything out {where}, now."
    )
    failure(
        "A part of the database is damaged.",
        "What can still be read is shown and can be taken out. Nothing more is saved and no new backup is made, "
        f"because anything kept in a damaged database can be lost with it. {way_out}",
    )
    if leads_on:
        link("data", "My data")
