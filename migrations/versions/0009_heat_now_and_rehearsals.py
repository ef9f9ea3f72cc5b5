"""The heat that the head official points at, and which heats are rehearsals.

Revision: 0009, after 0008.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("meets", sa.Column("heat_now", sa.String(length=36), nullable=True))
    op.add_column(
        "heats",
        sa.Column("rehearsal", sa.Boolean(), nullable=False, server_default=sa.false()),
    )


def downgrade() -> None:
    # Nobody waits for them, or takes them for heats, where nothing says what they are.
    op.execute("UPDATE heats SET state = 'not held' WHERE rehearsal")
    op.drop_column("heats", "rehearsal")
    op.drop_column("meets", "heat_now")
