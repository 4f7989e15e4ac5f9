"""What every page and route needs to begin: the store, a photo by its identifier, identifiers from the address."""

from __future__ import annotations

import re
import threading
from pathlib import Path

import streamlit as st

from tracker.calibrate.calibration import Yardsticks
from tracker.errors import NotFound
from tracker.record.records import PhotoRecord
from tracker.store import Store, data_folder

_IDENTIFIER = re.compile(r"[0-9a-f]{32}")
_stores: dict[Path, Store] = {}
_opening = threading.Lock()


def open_store() -> Store:
    """The one store of this process for the data folder in use, opened on first call.

    Raises
    ------
    StoreError : where the folder or its database cannot be used
    """
    root = Path(data_folder()).resolve()
    with _opening:
        if root not in _stores:
            _stores[root] = Store(root)
        return _stores[root]


def in_force() -> Yardsticks:
    """The studio's own yardsticks, or the built-in ones where it has none.

    Raises
    ------
    StoreError : where the folder or its database cannot be used
    """
    return open_store().yardsticks.in_force()


def find_photo(photo_id: str) -> PhotoRecord:
    """A photo by its identifier: from the record, else from a draft that is still open.

    Raises
    ------
    NotFound : where neither holds it
    """
    if not is_identifier(photo_id):
        raise NotFound("There is no such photo.")
    store = open_store()
    try:
        return store.photos.get(photo_id)
    except NotFound:
        for draft in store.drafts.find():
            for photo in draft.photos:
                if photo.id == photo_id:
                    return photo
        raise


def is_identifier(text: str) -> bool:
    """True for the opaque identifiers that records carry, and nothing else."""
    return _IDENTIFIER.fullmatch(text) is not None


def asked_for(name: str) -> str | None:
    """The identifier that the page's address carries under this name, or None where it carries none."""
    text = st.query_params.get(name, "")
    return text if is_identifier(text) else None


def close_stores() -> None:
    """Close what `open_store` opened; the next call opens it again."""
    with _opening:
        while _stores:
            _stores.popitem()[1].close()
