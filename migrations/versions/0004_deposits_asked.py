"""The deposit that was asked for stays with the appeal.

An appeal of before keeps null: what it is asked for goes by the meet's terms, as it did.

Revision: 0004, after 0003.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from app.store.columns import Json

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("appeals", sa.Column("asked", Json(), nullable=True))


def downgrade() -> None:
    """What was asked for is lost; appeals go by the meet's terms again."""
    op.execute("ALTER TABLE appeals DROP COLUMN asked")
