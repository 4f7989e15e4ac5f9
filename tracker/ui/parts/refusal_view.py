"""What a person sees in place of every page while the studio does not open, and the ways on from there."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from tracker.errors import TrackerError, WrongDatabase
from tracker.store import backups_of
from tracker.ui.look import failure
from tracker.ui.parts.backups_view import backup_words, bring_back_and_say
from tracker.ui.parts.notices import told
from tracker.ui.parts.opening import begin
from tracker.ui.session import open_store


def refused() -> bool:
    """Say why the database was not opened, in place of the page; False if nothing is wrong."""
    try:
        open_store()
    except WrongDatabase as error:
        _explain(error)
        return True
    except TrackerError:  # the page says so in its own words
        return False
    return False


def _explain(error: WrongDatabase) -> None:
    begin(undo=False)
    st.title("The studio does not open", anchor=False)
    failure(error.what, "Nothing was opened, and nothing was changed: every picture is where it was.")
    st.markdown(
        "This happens when a copy was cut off, when an older database was put back by hand, or when a disk fails. "
        "Leave the folder as it is, bring the studio into a new one, and start the program with that."
    )
    typed = st.text_input("New folder", f"{error.folder}-restored", key="refused-folder") or ""
    target = Path(typed.strip()).expanduser()
    _backup(error, target)
    if error.readable:
        _as_it_lies(error, target)


def _backup(error: WrongDatabase, target: Path) -> None:
    st.header("Bring a backup back", anchor=False)
    backups = backups_of(error.folder)
    chosen: Path | None
    if backups:
        chosen = st.selectbox("Backup", backups, format_func=backup_words, key="refused-backup").folder
    else:
        st.markdown("There is no backup in the usual place. Do you have one elsewhere, such as on another disk?")
        typed = st.text_input("Folder of a backup", key="refused-other", placeholder="…/tracker-backup-…") or ""
        chosen = Path(typed.strip()).expanduser() if typed.strip() else None
    if st.button("Bring it back", key="refused-restore", type="primary", disabled=chosen is None) and chosen:
        with told():
            bring_back_and_say(chosen, target, None)


def _as_it_lies(error: WrongDatabase, target: Path) -> None:
    st.header("Or go on with the database that is here", anchor=False)
    st.markdown(
        "It is copied with the pictures it names. Anything saved later is not in it, and the other "
        "pictures stay in the old folder."
    )
    if st.button("Copy it into the new folder", key="refused-copy"):
        with told():
            bring_back_and_say(error.folder, target, None)
