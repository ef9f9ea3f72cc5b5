"""Which decisions an announcement tells stands with it, and whether it tells who goes on; and
with a decision whether there is anything to announce.

Announcements of before told all decisions of their round by then that none before them in their
heat had told.

Revision: 0005, after 0004.
"""

from __future__ import annotations

import json

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


_ORDERED = """
    SELECT d.id, d.heat_id, d.seq, d.carried_out, (
        SELECT COUNT(*) FROM tellings t JOIN announcements a ON a.id = t.announcement_id
        WHERE t.decision_id = d.id AND a.heat_id = d.heat_id
    ) AS told
    FROM decisions d WHERE d.carried_out <> '[]' ORDER BY d.heat_id, d.seq
"""


def _tell_news_apart() -> None:
    """What keeps all that was ordered before, and was announced, is no news."""
    conn = op.get_bind()
    untold: set[str] = set()
    for row in conn.execute(sa.text(_ORDERED)).all():
        keeps_all = all(one.get("is_kept") for one in json.loads(row.carried_out))
        if keeps_all and row.heat_id not in untold:
            conn.execute(sa.text("UPDATE decisions SET is_news = 0 WHERE id = :id"), {"id": row.id})
        elif not row.told:
            untold.add(row.heat_id)


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
    op.add_column(
        "decisions", sa.Column("is_news", sa.Integer(), nullable=False, server_default="1")
    )
    _tell_news_apart()


def downgrade() -> None:
    """What was told follows from the numbers again, as before."""
    op.execute("ALTER TABLE decisions DROP COLUMN is_news")
    op.drop_table("tellings")
    op.execute("ALTER TABLE announcements DROP COLUMN tells_who_goes_on")
