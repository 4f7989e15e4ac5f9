"""Connections to the database: the settings that keep what was saved, and who may write."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event

BUSY_SECONDS = 15.0
"""How long a writer waits for another before it gives up."""


def make_engine(path: Path, *, foreign_keys: bool = True) -> Engine:
    """An engine whose connections all have the settings below.

    Parameters
    ----------
    path : Path of the SQLite file
    foreign_keys : bool, False only to migrate: with them on, rebuilding a table deletes the rows that refer to it

    Returns
    -------
    Engine : transactions take the write lock at their start; with the execution option ``write=False``
        they only read, beside any writer
    """
    engine = create_engine(
        URL.create("sqlite", database=str(path)),
        connect_args={"timeout": BUSY_SECONDS, "check_same_thread": False},
        max_overflow=-1,
    )
    pragmas = {
        "busy_timeout": str(int(BUSY_SECONDS * 1000)),
        "journal_mode": "WAL",
        "synchronous": "FULL",  # NORMAL may lose the last saved visit in a power cut
        "foreign_keys": "ON" if foreign_keys else "OFF",
        "secure_delete": "ON",  # deleted content is overwritten
        "temp_store": "MEMORY",  # no client's words in the computer's temporary folder
    }

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: object) -> None:
        connection.isolation_level = None  # transactions start below, not where the driver guesses
        # a damaged byte in one record must not stop the others from being read: it makes a damaged record
        connection.text_factory = _text
        for name, value in pragmas.items():
            connection.execute(f"PRAGMA {name}={value}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("write", True)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", "surrogateescape")
