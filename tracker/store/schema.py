"""Tables of the record: what is searched and sorted as columns, the whole record beside it as JSON text."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BindParameter,
    Boolean,
    Column,
    ColumnElement,
    Dialect,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
    cast,
)


class KeptText(TypeDecorator[str]):
    """Text that goes back into the database as it was read, a damaged byte in it too (`engine` reads it as half a
    character, which the driver refuses to write)."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> Any:
        """The text itself, or its bytes if it is not whole text."""
        if value is None:
            return None
        try:
            value.encode()
        except UnicodeEncodeError:
            return value.encode("utf-8", "surrogateescape")
        return value

    def bind_expression(self, bindparam: BindParameter[str]) -> ColumnElement[str]:
        """Bytes become text again."""
        return cast(bindparam, Text)


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)
"""All tables. Names of constraints are fixed so that a migration can find them again."""

# Times are text as `rows.time_text` writes it, dates are ISO text: both sort as they read.

client = Table(
    "client",
    metadata,
    Column("id", String, primary_key=True),
    Column("search", KeptText, nullable=False),  # name, note and contact note as `rows.search_text` folds them
    Column("demo", Boolean, nullable=False),
    Column("record", KeptText, nullable=False),
)

consent = Table(
    "consent",
    metadata,
    Column("number", Integer, primary_key=True),  # order of the answers: safe against a clock that is set back
    Column("id", String, nullable=False, unique=True),
    Column("client_id", String, ForeignKey("client.id", ondelete="CASCADE"), nullable=False),
    Column("purpose", String, nullable=False),
    Column("given", Boolean, nullable=False),
    Column("record", KeptText, nullable=False),
    Index(None, "client_id", "purpose", "number"),
)

visit = Table(
    "visit",
    metadata,
    Column("id", String, primary_key=True),
    Column("client_id", String, ForeignKey("client.id", ondelete="CASCADE"), nullable=False),
    Column("on_date", String, nullable=False),
    Column("created_at", String, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("record", KeptText, nullable=False),
    UniqueConstraint("id", "client_id"),  # what a visit's photos refer to: client and visit always agree
    Index(None, "client_id", "on_date"),
    Index(None, "on_date"),
)

photo = Table(
    "photo",
    metadata,
    Column("id", String, primary_key=True),
    Column("client_id", String, ForeignKey("client.id", ondelete="CASCADE"), nullable=False),
    Column("visit_id", String),
    Column("role", String, nullable=False),
    Column("taken_at", String, nullable=False),
    Column("file", String, nullable=False),
    Column("record", KeptText, nullable=False),
    Column("method", String),  # version that made its reading; empty without one
    ForeignKeyConstraint(["visit_id", "client_id"], ["visit.id", "visit.client_id"], ondelete="CASCADE"),
    Index(None, "client_id", "taken_at"),
    Index(None, "visit_id", "role"),
    Index(None, "role", "taken_at"),
    Index(None, "file"),
    Index(None, "client_id", "method", "taken_at", "id"),
)

not_remeasured = Table(
    "not_remeasured",
    metadata,
    Column("photo_id", String, ForeignKey("photo.id", ondelete="CASCADE"), primary_key=True),
    Column("method", String, nullable=False),  # version that was to measure it
    Column("why", String, nullable=False),
    Column("said", KeptText, nullable=False),
)
"""Photos that a later version of the method could not measure again by itself, and why. They keep their readings; a
line goes as soon as its photo is saved."""

draft = Table(
    "draft",
    metadata,
    Column("id", String, primary_key=True),
    Column("client_id", String, ForeignKey("client.id", ondelete="CASCADE"), nullable=False),
    Column("updated_at", String, nullable=False),
    Column("revision", Integer, nullable=False, server_default="0"),
    Column("record", KeptText, nullable=False),
    Index(None, "client_id"),
)

draft_file = Table(
    "draft_file",
    metadata,
    Column("draft_id", String, ForeignKey("draft.id", ondelete="CASCADE"), primary_key=True),
    Column("file", String, primary_key=True),
    Index(None, "file"),
)
"""Pictures that drafts hold, so that none is taken for an orphan even if a draft's JSON is damaged."""

visit_text = Table(
    "visit_text",
    metadata,
    Column("visit_id", String, ForeignKey("visit.id", ondelete="CASCADE"), primary_key=True),
    Column("search", KeptText, nullable=False),  # every word of the visit as `rows.search_text` folds it
)
"""Beside the visits, so that a search reads words only and not every record's JSON."""

price = Table(
    "price",
    metadata,
    Column("id", String, primary_key=True),
    Column("name", String, nullable=False),  # as `rows.search_text` folds it: the order of the list
    Column("record", KeptText, nullable=False),
)

edit = Table(
    "edit",
    metadata,
    Column("number", Integer, primary_key=True),  # order of the edits: safe against a clock that is set back
    Column("client_id", String, ForeignKey("client.id", ondelete="CASCADE")),  # empty for what is no client's
    Column("kind", String, nullable=False),
    Column("record_id", String, nullable=False),
    Column("what", String, nullable=False),
    Column("at", String, nullable=False),
    Column("by", String, nullable=False),
    Column("before", KeptText),  # the record's JSON as it was; empty where nothing may be kept of it
    Index(None, "client_id"),
    Index(None, "record_id"),
)

outcome = Table(
    "outcome",
    metadata,
    Column("visit_id", String, ForeignKey("visit.id", ondelete="CASCADE"), primary_key=True),
    Column("region", String, primary_key=True),
    Column("on_date", String, nullable=False),
    Column("services", KeptText, nullable=False),  # folded, one on each line, with a line break before and after
    Column("start_lightness", Float, nullable=False),
    Column("record", KeptText, nullable=False),
    Column("stamp", String),  # the spread that it was worked out with
    Index(None, "region", "start_lightness"),
    Index(None, "visit_id", "stamp"),
)
"""What came of each visit with a before and an after: Lab only, so that levels follow the scale in force."""

wear = Table(
    "wear",
    metadata,
    Column("visit_id", String, primary_key=True),  # no key into the visits: a client's rows are all remade at once
    Column("client_id", String, ForeignKey("client.id", ondelete="CASCADE"), nullable=False),
    Column("on_date", String, nullable=False),
    Column("stamp", String, nullable=False),
    Column("record", KeptText, nullable=False),
    Index(None, "client_id"),
)
"""How each service wore: its readings as months since the service, so that no page reads all photos."""

refresh = Table(
    "refresh",
    metadata,
    Column("client_id", String, ForeignKey("client.id", ondelete="CASCADE"), primary_key=True),
    Column("changes", Integer, nullable=False),  # raised with each change of the client's record
    Column("stamp", String, nullable=False),  # what it was worked out with; empty where it must be worked out again
    Column("early", String),
    Column("middle", String),
    Column("late", String),
    Column("record", KeptText),
    Index(None, "middle"),
)
"""When each client is due, and why; dates are empty where none can be given."""

erasure = Table(
    "erasure",
    metadata,
    Column("client_id", String, primary_key=True),
    Column("erased_at", String, nullable=False),
    Column("finished_at", String),  # empty until no byte is left: an interrupted erasure is finished at the next start
    Column("counts", KeptText),  # JSON: how much was erased, nothing of what it was
)

merge = Table(
    "merge",
    metadata,
    Column("client_id", String, primary_key=True),
    Column("into_id", String, nullable=False),
    Column("merged_at", String, nullable=False),
    Index(None, "into_id"),
)
"""Records that became part of another one. An older backup still holds them apart, so erasing the one that stays
erases these too. Opaque identifiers only."""

yardstick = Table(
    "yardstick",
    metadata,
    Column("number", Integer, primary_key=True),  # order of the versions: safe against a clock that is set back
    Column("id", String, nullable=False, unique=True),
    Column("kind", String, nullable=False),
    Column("made_at", String, nullable=False),
    Column("undone_at", String),  # empty while it holds
    Column("record", KeptText, nullable=False),
)
"""The studio's own yardsticks, every version; the newest of a kind not undone is in force."""

setting = Table(
    "setting",
    metadata,
    Column("name", String, primary_key=True),
    Column("value", KeptText, nullable=False),  # JSON
)
"""Choices of the studio that belong to no client, such as the size of its card."""

studio = Table(
    "studio",
    metadata,
    Column("id", String, primary_key=True),
    Column("saves", Integer, nullable=False),
)
"""One row: which studio this is, and how often something was saved in it, so that the file beside the database can
tell a foreign database and an earlier state of this one."""

picture = Table(
    "picture",
    metadata,
    Column("file", String, primary_key=True),
    Column("bytes", Integer, nullable=False),
)
"""Size of every kept picture, so that the room left is known without walking the folder."""
