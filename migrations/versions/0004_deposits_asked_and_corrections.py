"""The deposit that was asked for stays with the appeal, and what was typed wrongly is corrected.

An appeal of before keeps null: what it is asked for goes by the meet's terms, as it did.

Revision: 0004, after 0003.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from app.store.columns import Instant, Json

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("appeals", sa.Column("asked", Json(), nullable=True))
    op.create_table(
        "corrections",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("about", sa.String(length=30), nullable=False),
        sa.Column("subject_id", sa.String(length=36), nullable=False),
        sa.Column("was", sa.Text(), nullable=False),
        sa.Column("becomes", sa.Text(), nullable=False),
        sa.Column("reasons", sa.Text(), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("corrected_at", Instant(), nullable=False),
        sa.Column("remeasured", Json(), nullable=False),
        sa.Column("content", Json(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_corrections_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_corrections_official_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_corrections")),
    )
    op.create_index("ix_corrections_subject_id", "corrections", ["subject_id"])


def downgrade() -> None:
    """What was asked for is lost, and that something was corrected: what it became stays."""
    op.drop_table("corrections")
    op.execute("ALTER TABLE appeals DROP COLUMN asked")
