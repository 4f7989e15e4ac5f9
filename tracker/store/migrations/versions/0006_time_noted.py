"""Photos whose time nobody noted are marked as such: until now only their time at noon showed it.

Revision: 0006
"""

from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    # without a camera's name no camera wrote the time either; what was assumed is the moment of adding, or a full hour
    op.execute(
        """
        UPDATE photo SET record = json_set(record, '$.time_noted', json('false'))
        WHERE json_valid(record) AND json_extract(record, '$.camera') IS NULL
          AND (json_extract(record, '$.taken_at') = json_extract(record, '$.added_at')
               OR strftime('%M:%f', json_extract(record, '$.taken_at'))
                  IN ('00:00.000', '15:00.000', '30:00.000', '45:00.000'))
        """
    )
