"""The studio's own yardsticks: repeatability, level scale, neutral locus.

Revision: 0003
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "yardstick",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("made_at", sa.String(), nullable=False),
        sa.Column("undone_at", sa.String(), nullable=True),
        sa.Column("record", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_yardstick"),
        sa.UniqueConstraint("id", name="uq_yardstick_id"),
    )
    op.create_table(
        "setting",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_setting"),
    )
