"""Warnings about where the record lies: a place that is not safe for it, a damaged database and the way out."""

from __future__ import annotations

import streamlit as st

from tracker.store import NETWORK, SYNCED, Store, data_folder, place_risk
from tracker.ui.look import failure
from tracker.ui.navigation import link
from tracker.ui.parts.backups_view import backup_words

_RISKS = {
    NETWORK: (
        "This folder seems to be on another computer. Two computers writing to it at once can damage the record, and "
        "so can a broken connection."
    ),
    SYNCED: (
        "This folder seems to be one that is copied to other devices or to a server. A copy taken while the program "
        "is writing can damage the record, and clients' photos would leave this computer."
    ),
}


def warn_about_place() -> None:
    """Say so if the folder does not seem to be a safe place."""
    risk = place_risk(data_folder())
    if risk is not None:
        st.warning(
            f"{_RISKS[risk]} Move it to a folder on this computer only: close the program, move the folder, and start "
            "it with TRACKER_HOME set to the new place."
        )


def warn_about_damage(store: Store, *, leads_on: bool = True) -> None:
    """Say so if pages of the database are damaged.

    Parameters
    ----------
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
