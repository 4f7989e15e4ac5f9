"""Which studio a program serves, said so that only the same person's programs understand it."""

from __future__ import annotations

import hashlib

from tracker.store.folder import Layout, data_folder
from tracker.store.mark import read_mark


def studio_sign() -> str:
    """The same for two programs that use the same data folder; tells nobody else which folder that is.

    It is made of the folder's place and of the studio's identifier, which only this user can read.

    Raises
    ------
    StoreError : there is no data folder, and none can be made
    """
    folder = data_folder().resolve()
    try:
        mark = read_mark(Layout(folder).mark)
    except (OSError, ValueError):
        mark = None  # the page says what is wrong with it
    return hashlib.sha256(f"{folder}\n{mark.studio if mark else ''}".encode()).hexdigest()
