"""Pictures of reports: the original, and the copy that is shown.

Revision: 0006, after 0005.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from app.store.columns import Instant

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "pictures",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("report_id", sa.String(length=36), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("media_type", sa.String(length=20), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("shown_sha256", sa.String(length=64), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("received_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_pictures_meet_id")),
        sa.ForeignKeyConstraint(["report_id"], ["reports.id"], name=op.f("fk_pictures_report_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_pictures_official_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pictures")),
    )
    op.create_index("ix_pictures_report_id", "pictures", ["report_id"])
    op.create_index("ix_pictures_meet_id_size", "pictures", ["meet_id", "size"])
    for table in ("picture_originals", "picture_copies"):
        op.create_table(
            table,
            sa.Column("picture_id", sa.String(length=36), nullable=False),
            sa.Column("content", sa.LargeBinary(), nullable=False),
            sa.ForeignKeyConstraint(
                ["picture_id"], ["pictures.id"], name=op.f(f"fk_{table}_picture_id")
            ),
            sa.PrimaryKeyConstraint("picture_id", name=op.f(f"pk_{table}")),
        )


def downgrade() -> None:
    for table in ("picture_copies", "picture_originals", "pictures"):
        op.drop_table(table)
