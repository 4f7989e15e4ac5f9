"""Which spread the outcome of a visit rests on; empty for those from before, so that they are worked out anew.

Revision: 0007
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    op.add_column("outcome", sa.Column("stamp", sa.String(), nullable=True))
    op.create_index("ix_outcome_visit_id_stamp", "outcome", ["visit_id", "stamp"])
