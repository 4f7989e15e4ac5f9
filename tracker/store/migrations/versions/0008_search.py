"""The words of visits hold amounts, minutes, waste and the date too: they are made anew after the upgrade.

Revision: 0008
"""

from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    op.execute("DELETE FROM visit_text")
