"""Clients, consents, visits, photos, drafts and the erasure list.

Revision: 0001, the first
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    _clients()
    _consents()
    _visits()
    _photos()
    _drafts()
    op.create_table(
        "erasure",
        sa.Column("client_id", sa.String(), nullable=False),
        sa.Column("erased_at", sa.String(), nullable=False),
        sa.Column("finished_at", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("client_id", name="pk_erasure"),
    )


def _clients() -> None:
    op.create_table(
        "client",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("search", sa.Text(), nullable=False),
        sa.Column("demo", sa.Boolean(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_client"),
    )


def _consents() -> None:
    op.create_table(
        "consent",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("client_id", sa.String(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("given", sa.Boolean(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_consent"),
        sa.UniqueConstraint("id", name="uq_consent_id"),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"], name="fk_consent_client_id_client", ondelete="CASCADE"),
    )
    op.create_index("ix_consent_client_id_purpose_number", "consent", ["client_id", "purpose", "number"])


def _visits() -> None:
    op.create_table(
        "visit",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("client_id", sa.String(), nullable=False),
        sa.Column("on_date", sa.String(), nullable=False),
        sa.Column("created_at", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_visit"),
        sa.UniqueConstraint("id", "client_id", name="uq_visit_id_client_id"),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"], name="fk_visit_client_id_client", ondelete="CASCADE"),
    )
    op.create_index("ix_visit_client_id_on_date", "visit", ["client_id", "on_date"])
    op.create_index("ix_visit_on_date", "visit", ["on_date"])


def _photos() -> None:
    op.create_table(
        "photo",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("client_id", sa.String(), nullable=False),
        sa.Column("visit_id", sa.String(), nullable=True),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("taken_at", sa.String(), nullable=False),
        sa.Column("file", sa.String(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_photo"),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"], name="fk_photo_client_id_client", ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["visit_id", "client_id"],
            ["visit.id", "visit.client_id"],
            name="fk_photo_visit_id_client_id_visit",
            ondelete="CASCADE",
        ),
    )
    op.create_index("ix_photo_client_id_taken_at", "photo", ["client_id", "taken_at"])
    op.create_index("ix_photo_visit_id", "photo", ["visit_id"])
    op.create_index("ix_photo_file", "photo", ["file"])


def _drafts() -> None:
    op.create_table(
        "draft",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("client_id", sa.String(), nullable=False),
        sa.Column("updated_at", sa.String(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_draft"),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"], name="fk_draft_client_id_client", ondelete="CASCADE"),
    )
    op.create_index("ix_draft_client_id", "draft", ["client_id"])
    op.create_table(
        "draft_file",
        sa.Column("draft_id", sa.String(), nullable=False),
        sa.Column("file", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("draft_id", "file", name="pk_draft_file"),
        sa.ForeignKeyConstraint(["draft_id"], ["draft.id"], name="fk_draft_file_draft_id_draft", ondelete="CASCADE"),
    )
    op.create_index("ix_draft_file_file", "draft_file", ["file"])
