"""Which decisions an announcement tells stands with it, and whether it tells who goes on.

Announcements of before told all decisions of their round by then that none before them in their
heat had told.

Revision: 0005, after 0004.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

# A re-run's round is that of the round it repeats.
_TOLD_BEFORE = """
    INSERT INTO tellings (announcement_id, decision_id, is_whole)
    SELECT a.id, d.id, 1
    FROM announcements a
    JOIN heats told ON told.id = a.heat_id
    LEFT JOIN re_runs told_again ON told_again.run_heat_id = told.id
    JOIN heats decided ON decided.event_id = told.event_id
    LEFT JOIN re_runs decided_again ON decided_again.run_heat_id = decided.id
    JOIN decisions d ON d.heat_id = decided.id
    WHERE COALESCE(decided_again.round_key, decided.round_key)
            = COALESCE(told_again.round_key, told.round_key)
        AND d.seq <= a.decisions_seen
        AND d.seq > (
            SELECT COALESCE(MAX(b.decisions_seen), 0) FROM announcements b
            WHERE b.heat_id = a.heat_id AND b.number < a.number
        )
"""


def upgrade() -> None:
    op.add_column(
        "announcements",
        sa.Column("tells_who_goes_on", sa.Integer(), nullable=False, server_default="0"),
    )
    op.execute(
        "UPDATE announcements SET tells_who_goes_on = 1 "
        """WHERE CAST(snapshot AS TEXT) LIKE '%"qualified"\\:[{%'"""
    )
    op.create_table(
        "tellings",
        sa.Column("announcement_id", sa.String(length=36), nullable=False),
        sa.Column("decision_id", sa.String(length=36), nullable=False),
        sa.Column("is_whole", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["announcement_id"],
            ["announcements.id"],
            name=op.f("fk_tellings_announcement_id"),
        ),
        sa.ForeignKeyConstraint(
            ["decision_id"], ["decisions.id"], name=op.f("fk_tellings_decision_id")
        ),
        sa.PrimaryKeyConstraint("announcement_id", "decision_id", name=op.f("pk_tellings")),
    )
    op.create_index("ix_tellings_decision_id", "tellings", ["decision_id"])
    op.execute(_TOLD_BEFORE)


def downgrade() -> None:
    """What was told follows from the numbers again, as before."""
    op.drop_table("tellings")
    op.execute("ALTER TABLE announcements DROP COLUMN tells_who_goes_on")
