"""Read a database together with its write-ahead log, and change nothing on the disk: not even a file beside it.

SQLite itself cannot: opening a database in WAL mode makes or changes the files ``-wal`` and ``-shm``, and a connection
that may not (``immutable``) leaves out what is only in the log.
"""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

_HEADER = struct.Struct(">8I")  # magic, version, size of a page, checkpoints, two salts, two checksums
_FRAME = struct.Struct(">6I")  # page, pages after the commit or 0, two salts, two checksums
_ORDER = {0x377F0682: "<", 0x377F0683: ">"}
"""First word of a log, and the byte order in which its checksums are computed (sqlite.org, "WAL File Format")."""

_WORD = 0xFFFFFFFF
_RULES = slice(18, 20)
"""Where a database file says by which rules it is written and read: 1 without a log, 2 with one."""


@dataclass(frozen=True, slots=True)
class Log:
    """What a write-ahead log adds to the database file.

    Attributes
    ----------
    page_size : int, bytes
    pages : int, how many the database has after the last commit
    content : content of the changed pages by number, from 1
    """

    page_size: int
    pages: int
    content: dict[int, bytes]


@contextmanager
def opened_unchanged(database: Path) -> Iterator[sqlite3.Connection]:
    """A connection that sees every committed transaction and touches no file.

    Only for a database that nobody is writing to. If its log holds anything, the whole database is held in memory.

    Parameters
    ----------
    database : Path of the SQLite file

    Raises
    ------
    sqlite3.DatabaseError : it is not a database
    OSError : it cannot be read
    """
    path = log_of(database)
    log = read_log(path.read_bytes()) if path.exists() else None
    if log is None:
        address = f"{database.resolve().as_uri()}?mode=ro&immutable=1"
        with closing(sqlite3.connect(address, uri=True)) as connection:
            yield connection
        return
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.deserialize(_merged(database.read_bytes(), log))
        yield connection


def log_of(database: Path) -> Path:
    """Where SQLite keeps the write-ahead log of a database."""
    return database.with_name(f"{database.name}-wal")


def read_log(raw: bytes) -> Log | None:
    """What is committed in a log; None if nothing is.

    A frame counts while its salts are the log's and the running checksum is right, up to the last commit.
    """
    if len(raw) < _HEADER.size:
        return None
    magic, _, page_size, _, *salts, first, second = _HEADER.unpack_from(raw)
    if magic not in _ORDER or page_size < 512 or page_size & (page_size - 1):
        return None
    order = _ORDER[magic]
    sums = _checksum(raw[: _HEADER.size - 8], (0, 0), order)
    if sums != (first, second):
        return None
    found: Log | None = None
    content: dict[int, bytes] = {}
    for start in range(_HEADER.size, len(raw) - _FRAME.size - page_size + 1, _FRAME.size + page_size):
        number, pages, *frame_salts, first, second = _FRAME.unpack_from(raw, start)
        page = raw[start + _FRAME.size : start + _FRAME.size + page_size]
        sums = _checksum(page, _checksum(raw[start : start + 8], sums, order), order)
        if frame_salts != salts or sums != (first, second) or number == 0:
            break
        content[number] = page
        if pages:
            found = Log(page_size, pages, dict(content))
    return found


def _checksum(raw: bytes, sums: tuple[int, int], order: str) -> tuple[int, int]:
    one, other = sums
    for even, odd in struct.iter_unpack(f"{order}II", raw):
        one = (one + even + other) & _WORD
        other = (other + odd + one) & _WORD
    return one, other


def _merged(raw: bytes, log: Log) -> bytes:
    """The database file as a checkpoint would leave it, marked as having no log, because it is held in memory."""
    size = log.pages * log.page_size
    whole = bytearray(raw[:size].ljust(size, b"\0"))
    for number, page in log.content.items():
        if number <= log.pages:
            whole[(number - 1) * log.page_size : number * log.page_size] = page
    whole[_RULES] = b"\x01\x01"
    return bytes(whole)
