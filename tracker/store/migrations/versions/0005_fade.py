"""How services wear and who is due; what is agreed and how often the hair is washed is in the visit's JSON.

Revision: 0005
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.create_table(
        "wear",
        sa.Column("visit_id", sa.String(), nullable=False),
        sa.Column("client_id", sa.String(), nullable=False),
        sa.Column("on_date", sa.String(), nullable=False),
        sa.Column("stamp", sa.String(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"], name="fk_wear_client_id_client", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("visit_id", name="pk_wear"),
    )
    op.create_index("ix_wear_client_id", "wear", ["client_id"])
    op.create_table(
        "refresh",
        sa.Column("client_id", sa.String(), nullable=False),
        sa.Column("changes", sa.Integer(), nullable=False),
        sa.Column("stamp", sa.String(), nullable=False),
        sa.Column("early", sa.String(), nullable=True),
        sa.Column("middle", sa.String(), nullable=True),
        sa.Column("late", sa.String(), nullable=True),
        sa.Column("record", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"], name="fk_refresh_client_id_client", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("client_id", name="pk_refresh"),
    )
    op.create_index("ix_refresh_middle", "refresh", ["middle"])
