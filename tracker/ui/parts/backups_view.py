"""The state of the backups, making one, checking one, and bringing one back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from tracker.store import EXPIRE_AFTER, MOST, Backup, Erasure, Store, check_backup
from tracker.ui.parts.notices import told
from tracker.words import ago, as_date, count, day
from tracker.workflow.backups import back_up, bring_back, days_since_backup, is_ahead

_OLD_DAYS = 3


def backup_state(store: Store) -> None:
    """When the last backup was made, and the rules they follow, in a few sentences."""
    backups = store.backups.shelf.backups()
    days = days_since_backup(backups)
    if days is None:
        st.markdown(
            "**No backup yet.** The program makes one a day on its own, the first within an hour of the first client."
        )
    elif is_ahead(backups[0]):
        st.markdown(f"**Last backup:** {_moment(backups[0])}, checked when it was made.")
    else:
        made = backups[0].made_at.astimezone()
        st.markdown(f"**Last backup:** {ago(as_date(made))} at {made:%H:%M}, checked when it was made.")
        if days >= _OLD_DAYS and not store.is_empty():
            st.warning(
                f"The last backup is {count(days, 'day')} old. Make one now; if it fails, you will see why here."
            )


def backup_now(store: Store) -> None:
    """The state, and the button that makes a backup now; the state shown is the one after that."""
    state = st.container()
    _button(store)
    with state:
        backup_state(store)


def _button(store: Store) -> None:
    if st.button("Back up now", key="backup"):
        with told():
            with st.spinner("Copying and checking"):
                folder = back_up(store)
            st.success("The backup is complete and checked. Copy this folder to another disk now and then.")
            st.code(str(folder), language=None, wrap_lines=True)


def backup_list(store: Store) -> None:
    """Every backup, how to check one, and how to bring one back."""
    backups = store.backups.shelf.backups()
    st.caption(
        f"One a day is made on its own. The last {MOST} are kept, each for about {EXPIRE_AFTER.days} days, not "
        "counting long "
        "breaks. Days are counted from one backup to the next, so a clock that is wrong for a while removes nothing "
        "early. Bringing back an earlier backup leaves out any client erased since."
    )
    if not backups:
        return
    with st.expander(f"All backups ({len(backups)})"):
        st.code(str(store.backups.shelf.folder), language=None, wrap_lines=True)
        chosen = st.selectbox("Backup", backups, format_func=backup_words, key="backup-chosen")
        if st.button("Check it", key="backup-check"):
            with told():
                _check(chosen)
        st.markdown("**Bring it back** into an empty folder. What you have now stays as it is.")
        folder = st.text_input("Empty folder", key="restore-folder", placeholder="a folder that does not exist yet")
        if st.button("Bring it back", key="restore", disabled=not (folder or "").strip()):
            with told():
                bring_back_and_say(chosen.folder, Path(folder.strip()).expanduser(), store.erasures.all())


def _check(backup: Backup) -> None:
    with st.spinner("Reading every record and photo"):
        found = check_backup(backup.folder)
    if found.damaged:
        st.warning(f"{count(len(found.damaged), 'photo')} missing or altered; every record is whole.")
    else:
        st.success(
            f"Whole: {count(found.rows, 'record')} and {count(found.pictures, 'photo')} are just as they were written."
        )


def bring_back_and_say(backup: Path, folder: Path, erased: Sequence[Erasure] | None) -> None:
    """Bring a backup back into an empty folder, and say what is there and how to use it.

    Parameters
    ----------
    backup, folder : Path, as for `workflow.backups.bring_back`
    erased : the erasure list; None to read it from the studio in use as far as possible

    Raises
    ------
    StoreError : it cannot be brought back
    """
    with st.spinner("Copying and checking"):
        back = bring_back(backup, folder, erased)
    parts = f"{count(back.clients, 'client')}, {count(back.visits, 'visit')} and {count(back.photos, 'photo')}"
    st.success(f"{parts} are in the folder. Start the program with this setting to use it:")
    st.code(f"TRACKER_HOME={folder.resolve()}", language=None, wrap_lines=True)
    if back.damaged:
        st.warning(f"{count(back.damaged, 'photo')} could not be brought back: missing or altered in the backup.")


def backup_words(backup: Backup) -> str:
    """When a backup was made, and how much it holds."""
    known = (
        f": {count(backup.clients or 0, 'client')}, {count(backup.visits or 0, 'visit')}, "
        f"{count(backup.photos or 0, 'photo')}"
        if backup.clients is not None
        else ""
    )
    return f"{_moment(backup)}{known}"


def _moment(backup: Backup) -> str:
    made = backup.made_at.astimezone()
    moment = f"{day(made.date())} at {made:%H:%M}"
    return f"{moment} (dated in the future: the clock was ahead, or is behind now)" if is_ahead(backup) else moment
