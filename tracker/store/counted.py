"""How many bytes the kept pictures take, counted in the database as they come and go."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, delete, func, select
from sqlalchemy.dialects.sqlite import insert

from tracker.store import schema
from tracker.store.pictures import Pictures

_PICTURE = schema.picture
_AT_ONCE = 500  # names in one statement; SQLite takes 999 at least


def count_picture(connection: Connection, name: str, size: int) -> None:
    """Note a picture and its size in bytes; once, however often it is put."""
    _count(connection, {name: size})


def uncount_pictures(connection: Connection, names: Iterable[str]) -> None:
    """Forget the size of pictures that are gone."""
    going = sorted(names)
    for first in range(0, len(going), _AT_ONCE):
        connection.execute(delete(_PICTURE).where(_PICTURE.c.file.in_(going[first : first + _AT_ONCE])))


def counted(connection: Connection) -> tuple[int, int]:
    """How many pictures there are, and how many bytes they take together."""
    row = connection.execute(select(func.count(), func.coalesce(func.sum(_PICTURE.c.bytes), 0))).one()
    return int(row[0]), int(row[1])


def counted_names(connection: Connection) -> set[str]:
    """Names of the pictures whose size is noted."""
    return set(connection.execute(select(_PICTURE.c.file)).scalars())


def recount(connection: Connection, pictures: Pictures) -> None:
    """Set the count to what the folder holds: after an upgrade, or after a save or a removal was cut off."""
    there = pictures.sizes()
    noted = {row.file: row.bytes for row in connection.execute(select(_PICTURE))}
    uncount_pictures(connection, noted.keys() - there.keys())
    _count(connection, {name: size for name, size in there.items() if noted.get(name) != size})


def _count(connection: Connection, sizes: dict[str, int]) -> None:
    if sizes:
        statement = insert(_PICTURE)
        statement = statement.on_conflict_do_update(["file"], set_={"bytes": statement.excluded.bytes})
        connection.execute(statement, [{"file": name, "bytes": size} for name, size in sizes.items()])
