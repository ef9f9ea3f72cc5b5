"""Posts of the crew plan can stand for single heats.

Revision: 0012, after 0011.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from app.store.columns import Json

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("posts", sa.Column("heats", Json(), nullable=False, server_default="[]"))


def downgrade() -> None:
    op.drop_column("posts", "heats")
