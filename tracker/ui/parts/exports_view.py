"""Handing out one client's record, and taking everything out."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from tracker.record.records import Client, now
from tracker.store import Store
from tracker.ui.parts.notices import told
from tracker.ui.parts.offer import offer_file
from tracker.words import ago, as_date, count, disk_size
from tracker.workflow.export import Exported, export_client, export_everything


def hand_out(store: Store, client: Client) -> None:
    """Put one client's record together and offer it for saving."""
    st.markdown(
        "Everything kept about this client as one file: a page to read, the photos, and every number with its unit. "
        "It is put together in memory and reaches a disk only where you save it."
    )
    if not st.button("Put it together", key="export-client"):
        return
    bar = st.progress(0.0, text="Putting it together")
    with told():
        content, exported = export_client(store, client.id, bar.progress)
        bar.empty()
        st.markdown(f"Ready: {_words(exported)}, {disk_size(len(content))}.")
        offer_file(
            "Save the file",
            lambda: export_client(store, client.id)[0],
            f"hair-colour-record-{now():%Y-%m-%d}.zip",
            "application/zip",
            key=f"export-{client.id}",
            primary=True,
        )
        _missing(exported)


def everything_out(store: Store) -> None:
    """Write everything into a folder, and say what is in it."""
    st.markdown(
        "Every client as pages, photos, JSON and CSV, and tables of the whole studio: "
        "formats that any other program can read."
    )
    typed = st.text_input(
        "Into another folder, such as one on another disk",
        key="export-folder",
        placeholder="beside the studio's folder",
    )
    if st.button("Take everything out", key="export-all", disabled=store.is_empty()):
        elsewhere = Path(typed.strip()).expanduser() if (typed or "").strip() else None
        bar = st.progress(0.0, text="Writing")
        with told():
            folder, exported = export_everything(store, bar.progress, elsewhere)
            bar.empty()
            st.success(f"{count(exported.clients, 'client')}, {_words(exported)} are written.")
            if elsewhere is not None:
                st.code(str(folder), language=None, wrap_lines=True)
                st.caption("This folder is yours to delete: erasing a client does not reach it.")
            _missing(exported)
    found = store.exports.all()
    if not found:
        return
    for export in found:
        st.markdown(f"Taken out {ago(as_date(export.made_at))}, {disk_size(export.bytes)}:")
        st.code(str(export.folder), language=None, wrap_lines=True)
    st.caption(
        "Copy it where you need it, then remove it here. Erasing a client removes all of these folders, because they "
        "hold the client too; copies elsewhere are yours to delete."
    )
    if st.button("Remove from this computer", key="export-remove"):
        with told():
            store.exports.remove_all()
            st.rerun()


def _words(exported: Exported) -> str:
    return f"{count(exported.visits, 'visit')} and {count(exported.photos, 'photo')}"


def _missing(exported: Exported) -> None:
    if exported.missing:
        st.warning(f"{count(exported.missing, 'photo file')} missing or altered; the records are there.")
