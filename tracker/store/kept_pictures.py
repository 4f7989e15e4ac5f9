"""The pictures of the record: kept, counted, and let go if no record came to name them."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tracker.errors import StoreError
from tracker.store.part import Part
from tracker.store.pictures import name_of


class KeptPictures(Part):
    """The part of the store that keeps the pictures themselves."""

    def put(self, content: bytes) -> str:
        """Keep a picture, to be named by a record soon: one that none names goes at an erasure or the next start.

        Parameters
        ----------
        content : bytes of a clean JPEG

        Returns
        -------
        str : SHA-256 of the content, the picture's name; the same content is kept once

        Raises
        ------
        StoreFull : the folder would hold more than allowed, or there is no room on the disk
        """
        try:
            with self._database.writing() as connection:
                return self._database.keep_picture(connection, content)
        except StoreError:
            self._database.tidy_files([name_of(content)])
            raise

    def let_go(self, names: Iterable[str]) -> None:
        """Remove pictures put for records that never came about; those that a record names stay."""
        self._database.tidy_files(names)

    def get(self, name: str) -> bytes:
        """Content of a picture, checked against its name.

        Raises
        ------
        NotFound : there is no such picture
        StoreDamaged : its content is not what was kept
        """
        return self._database.pictures.get(name)

    def path(self, name: str) -> Path:
        """Where a picture is; its content is not checked.

        Raises
        ------
        NotFound : there is no such picture, or the name is not a SHA-256 in hexadecimal
        """
        return self._database.pictures.path(name)
