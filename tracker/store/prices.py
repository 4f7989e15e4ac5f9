"""The studio's own price list."""

from __future__ import annotations

from sqlalchemy import insert, select, update

from tracker.record.mixing import PriceLine
from tracker.store import schema
from tracker.store.lookup import stored
from tracker.store.rows import price_row
from tracker.store.undo import DeletingPart, Deletion


class Prices(DeletingPart):
    """The part of the store that keeps the price list."""

    def all(self) -> list[PriceLine]:
        """The price list by name; damaged lines are left out."""
        query = select(schema.price).order_by(schema.price.c.name, schema.price.c.id)
        return self._database.records(PriceLine, query)

    def save(self, line: PriceLine, *, by: str = "") -> PriceLine:
        """Keep a line, new or changed; what it said before stays in the log of edits."""
        table = schema.price
        with self._database.writing(by) as connection:
            if stored(connection, table.c.id, line.id) is None:
                connection.execute(insert(table), price_row(line))
            else:
                connection.execute(update(table).where(table.c.id == line.id).values(price_row(line)))
        return line

    def delete(self, line_id: str, *, by: str = "") -> Deletion:
        """Take a line off the list, until `put_back`; visits keep the price they were charged with.

        Raises
        ------
        NotFound
        """
        return self._deletions.delete(schema.price, line_id, by=by)
