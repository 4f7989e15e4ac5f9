"""The place to hand over photos: which files it takes, and how large they may be."""

from __future__ import annotations

from collections.abc import Iterable

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.uploaded_file_manager import UploadedFile

from tracker.photo import can_read_raw

FORMATS = ["jpg", "jpeg", "heic", "heif", "png", "webp", "avif", "tif", "tiff"]
RAW_FORMATS = ["dng", "cr2", "cr3", "nef", "arw", "raf", "orf", "rw2", "pef"]
LARGEST_MB = 25
LARGEST_RAW_MB = 80
"""The most that is taken in at all, here and in ``.streamlit/config.toml``."""


def ask_photos(label: str, key: str, *, several: bool = True, raw: bool = False, note: str = "") -> list[UploadedFile]:
    """The files that were handed over.

    Parameters
    ----------
    label, key : str; the key has ``upload-`` in it, by which the style sheet finds the place
    several : bool, whether more than one may be handed over at once
    raw : bool, whether a camera's raw files are taken, where this computer can read them
    note : str, Markdown, what else to know before
    """
    raw = raw and can_read_raw()
    # one limit for every file: what is too large for its kind is refused with a sentence when it is read, where
    # Streamlit would only show a small mark
    handed = st.file_uploader(
        label,
        type=FORMATS + RAW_FORMATS if raw else FORMATS,
        max_upload_size=LARGEST_RAW_MB,
        accept_multiple_files=several,
        key=key,
    )
    more = f"; raw files up to {LARGEST_RAW_MB} MB" if raw else ""
    st.caption(f"{note} JPEG, HEIC, PNG and the like, up to {LARGEST_MB} MB each{more}.".strip())
    if handed is None:
        return []
    return handed if isinstance(handed, list) else [handed]


def let_go_of(files: Iterable[UploadedFile]) -> None:
    """Free the bytes of files taken in; Streamlit would hold them until the window is closed."""
    context = get_script_run_ctx()
    remove = getattr(context and context.uploaded_file_mgr, "remove_file", None)  # not part of its protocol
    if context is None or remove is None:
        return
    for file in files:
        remove(context.session_id, file.file_id)
