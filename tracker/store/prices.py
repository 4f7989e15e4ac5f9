"""The studio's own price list."""

from __future__ import annotations

from sqlalchemy import delete, insert, select, update

from tracker.records import PriceLine
from tracker.store import schema
from tracker.store.database import missing, stored
from tracker.store.edits import CHANGED, REMOVED, log_edit
from tracker.store.rows import price_row, read_records
from tracker.store.undo import Deletion, Undoing


class Prices(Undoing):
    """The part of the store that keeps the price list."""

    def prices(self) -> list[PriceLine]:
        """The price list by name; damaged lines are left out."""
        query = select(schema.price).order_by(schema.price.c.name, schema.price.c.id)
        with self._reading() as connection:
            return list(read_records(PriceLine, connection.execute(query)))

    def save_price(self, line: PriceLine, *, by: str = "") -> PriceLine:
        """Keep a line, new or changed; what it said before stays in the log of edits."""
        table = schema.price
        with self._writing() as connection:
            before = stored(connection, table.c.record, line.id)
            if before is None:
                connection.execute(insert(table), price_row(line))
            else:
                log_edit(connection, "price", line.id, None, CHANGED, by, before)
                connection.execute(update(table).where(table.c.id == line.id).values(price_row(line)))
        return line

    def delete_price(self, line_id: str, *, by: str = "") -> Deletion:
        """Take a line off the list, until `put_back`; visits keep the price they were charged with.

        Raises
        ------
        NotFound
        """
        with self._writing() as connection:
            before = stored(connection, schema.price.c.record, line_id)
            if before is None:
                raise missing("price")
            with self._deleting(connection, schema.price, line_id) as deletion:
                log_edit(connection, "price", line_id, None, REMOVED, by, before)
                connection.execute(delete(schema.price).where(schema.price.c.id == line_id))
        return deletion
