"""The words of visits, the price list, the log of edits and the outcomes of visits.

Words and outcomes are derived: `tracker.store.unit` fills them once all revisions have run.

Revision: 0002
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "visit_text",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("search", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("visit_id", name="pk_visit_text"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_visit_text_visit_id_visit", ondelete="CASCADE"),
    )
    op.create_table(
        "price",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_price"),
    )
    _edits()
    _outcomes()


def _edits() -> None:
    op.create_table(
        "edit",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.String(), nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("record_id", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("at", sa.String(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("number", name="pk_edit"),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"], name="fk_edit_client_id_client", ondelete="CASCADE"),
    )
    op.create_index("ix_edit_client_id", "edit", ["client_id"])
    op.create_index("ix_edit_record_id", "edit", ["record_id"])


def _outcomes() -> None:
    op.create_table(
        "outcome",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("region", sa.String(), nullable=False),
        sa.Column("on_date", sa.String(), nullable=False),
        sa.Column("services", sa.Text(), nullable=False),
        sa.Column("start_lightness", sa.Float(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("visit_id", "region", name="pk_outcome"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name="fk_outcome_visit_id_visit", ondelete="CASCADE"),
    )
    op.create_index("ix_outcome_region_start_lightness", "outcome", ["region", "start_lightness"])
