"""The studio gets an identifier and a counter of saves, pictures their size, drafts a revision.

Revision: 0009
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    op.create_table(
        "studio",
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("saves", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_studio"),
    )
    op.execute("INSERT INTO studio (id, saves) VALUES (lower(hex(randomblob(16))), 0)")
    op.create_table(
        "picture",
        sa.Column("file", sa.String(), nullable=False),
        sa.Column("bytes", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("file", name="pk_picture"),
    )
    op.add_column("draft", sa.Column("revision", sa.Integer(), nullable=False, server_default="0"))
