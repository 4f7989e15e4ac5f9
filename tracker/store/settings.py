"""Choices of the studio that belong to no client, each under a name."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.dialects.sqlite import insert

from tracker.store import schema
from tracker.store.database import Database


class StudioSettings(Database):
    """The part of the store that keeps the studio's own choices."""

    def setting(self, name: str) -> Any:
        """The value kept under a name, made of plain JSON; None where there is none or it cannot be read."""
        with self._reading() as connection:
            text = connection.execute(
                select(schema.setting.c.value).where(schema.setting.c.name == name)
            ).scalar_one_or_none()
        try:
            return None if text is None else json.loads(text)
        except ValueError:
            return None

    def put_setting(self, name: str, value: Any) -> None:
        """Keep a value of plain JSON under a name, in place of an earlier one; None forgets it.

        Raises
        ------
        StoreError : it cannot be written
        """
        table = schema.setting
        with self._writing() as connection:
            if value is None:
                connection.execute(delete(table).where(table.c.name == name))
                return
            row = {"name": name, "value": json.dumps(value, allow_nan=False)}
            connection.execute(insert(table).values(row).on_conflict_do_update(["name"], set_={"value": row["value"]}))
