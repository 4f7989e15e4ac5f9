"""A warning where the data is kept in a place that is not safe for it."""

from __future__ import annotations

import streamlit as st

from tracker.store import NETWORK, SYNCED, data_folder, place_risk

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
