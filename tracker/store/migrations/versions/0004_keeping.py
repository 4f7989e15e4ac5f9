"""What merging, the receipts of erasures and large studios need.

Revision: 0004
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.add_column("erasure", sa.Column("counts", sa.Text(), nullable=True))
    op.create_table(
        "merge",
        sa.Column("client_id", sa.String(), nullable=False),
        sa.Column("into_id", sa.String(), nullable=False),
        sa.Column("merged_at", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("client_id", name="pk_merge"),
    )
    op.create_index("ix_merge_into_id", "merge", ["into_id"])
    op.drop_index("ix_photo_visit_id", "photo")
    op.create_index("ix_photo_visit_id_role", "photo", ["visit_id", "role"])
    op.create_index("ix_photo_role_taken_at", "photo", ["role", "taken_at"])
