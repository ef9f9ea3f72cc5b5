"""Posts of the crew plan can stand for single heats; what a crew is planned from is kept, and so
are the searches for a plan.

Revision: 0012, after 0011.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from app.store.columns import Instant, Json

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("posts", sa.Column("heats", Json(), nullable=False, server_default="[]"))
    op.create_table(
        "crew_wishes",
        sa.Column("meet_id", sa.String(36), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("content", Json(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_crew_wishes_meet_id")),
        sa.PrimaryKeyConstraint("meet_id", name=op.f("pk_crew_wishes")),
    )
    op.create_table(
        "crew_searches",
        sa.Column("meet_id", sa.String(36), nullable=False),
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("sent", Json()),
        sa.Column("phase", sa.String(10), nullable=False),
        sa.Column("stopped", sa.Boolean(), nullable=False),
        sa.Column("began", Instant(), nullable=False),
        sa.Column("heard", Instant(), nullable=False),
        sa.Column("ended", Instant()),
        sa.Column("problem", sa.Text(), nullable=False),
        sa.Column("content", Json()),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_crew_searches_meet_id")),
        sa.PrimaryKeyConstraint("meet_id", "id", name=op.f("pk_crew_searches")),
    )


def downgrade() -> None:
    op.drop_table("crew_searches")
    op.drop_table("crew_wishes")
    op.drop_column("posts", "heats")
