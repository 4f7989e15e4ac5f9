"""Tables of the record: what is searched and sorted as columns, the whole record beside it as JSON text."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

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
    Column("search", Text, nullable=False),  # name and note as `rows.search_text` folds them
    Column("demo", Boolean, nullable=False),
    Column("record", Text, nullable=False),
)

consent = Table(
    "consent",
    metadata,
    Column("number", Integer, primary_key=True),  # order of the answers: safe against a clock that is set back
    Column("id", String, nullable=False, unique=True),
    Column("client_id", String, ForeignKey("client.id", ondelete="CASCADE"), nullable=False),
    Column("purpose", String, nullable=False),
    Column("given", Boolean, nullable=False),
    Column("record", Text, nullable=False),
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
    Column("record", Text, nullable=False),
    UniqueConstraint("id", "client_id"),  # what the photos of a visit refer to: client and visit always agree
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
    Column("record", Text, nullable=False),
    ForeignKeyConstraint(["visit_id", "client_id"], ["visit.id", "visit.client_id"], ondelete="CASCADE"),
    Index(None, "client_id", "taken_at"),
    Index(None, "visit_id"),
    Index(None, "file"),
)

draft = Table(
    "draft",
    metadata,
    Column("id", String, primary_key=True),
    Column("client_id", String, ForeignKey("client.id", ondelete="CASCADE"), nullable=False),
    Column("updated_at", String, nullable=False),
    Column("record", Text, nullable=False),
    Index(None, "client_id"),
)

draft_file = Table(
    "draft_file",
    metadata,
    Column("draft_id", String, ForeignKey("draft.id", ondelete="CASCADE"), primary_key=True),
    Column("file", String, primary_key=True),
    Index(None, "file"),
)
"""Pictures that drafts hold, so that none is taken for an orphan even where a draft's JSON is damaged."""

erasure = Table(
    "erasure",
    metadata,
    Column("client_id", String, primary_key=True),
    Column("erased_at", String, nullable=False),
    Column("finished_at", String),  # empty until no byte is left: an interrupted erasure is finished at the next start
)
