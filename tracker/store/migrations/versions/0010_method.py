"""Photos get a column for the version of the method that made their reading, and a list of those left by a later one.

Revision: 0010
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    op.add_column("photo", sa.Column("method", sa.String(), nullable=True))
    op.execute("UPDATE photo SET method = json_extract(record, '$.reading.method_version') WHERE json_valid(record)")
    op.create_index("ix_photo_client_id_method_taken_at_id", "photo", ["client_id", "method", "taken_at", "id"])
    op.create_table(
        "not_remeasured",
        sa.Column("photo_id", sa.String(), nullable=False),
        sa.Column("method", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["photo_id"], ["photo.id"], name="fk_not_remeasured_photo_id_photo", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("photo_id", name="pk_not_remeasured"),
    )
