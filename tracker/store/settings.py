"""Choices of the studio that belong to no client, each under a name."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.dialects.sqlite import insert

from tracker.store import schema
from tracker.store.part import Part


class StudioSettings(Part):
    """The part of the store that keeps the studio's own choices."""

    def get(self, name: str) -> Any:
        """The value kept under a name, made of plain JSON; None where there is none or it cannot be read."""
        with self._database.reading() as connection:
            text = connection.execute(
                select(schema.setting.c.value).where(schema.setting.c.name == name)
            ).scalar_one_or_none()
        try:
            return None if text is None else json.loads(text)
        except ValueError:
            return None

    def put(self, name: str, value: Any) -> None:
        """Keep a value of plain JSON under a name, in place of an earlier one; None forgets it.

        Raises
        ------
        StoreError : it cannot be written
        """
        table = schema.setting
        with self._database.writing() as connection:
            if value is None:
                connection.execute(delete(table).where(table.c.name == name))
                return
            row = {"name": name, "value": json.dumps(value, allow_nan=False)}
            connection.execute(insert(table).values(row).on_conflict_do_update(["name"], set_={"value": row["value"]}))

    def change_list(self, name: str, change: Callable[[list[Any]], list[Any]]) -> None:
        """Change a list, such as readings being gathered, so that nothing from another window is lost.

        Parameters
        ----------
        name : str, of a setting whose value is a list of plain JSON
        change : from the list as it is to the list as it should be
        """
        table = schema.setting
        with self._database.writing() as connection:
            text = connection.execute(select(table.c.value).where(table.c.name == name)).scalar_one_or_none()
            changed = change(_listed(text))
            connection.execute(delete(table).where(table.c.name == name))
            if changed:
                connection.execute(insert(table), {"name": name, "value": json.dumps(changed, allow_nan=False)})


def _listed(text: str | None) -> list[Any]:
    """The list in a setting; empty if there is none or it can no longer be read."""
    try:
        kept = json.loads(text or "[]")
    except ValueError:
        return []
    return kept if isinstance(kept, list) else []
