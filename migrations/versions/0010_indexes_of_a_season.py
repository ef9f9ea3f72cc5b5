"""Indexes for what was found by reading a whole table: as fast with a season stored.

Revision: 0010, after 0009.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

INDEXES = (
    ("ix_meets_made_at_id", "meets", ("made_at", "id")),
    ("ix_join_links_official_id", "join_links", ("official_id",)),
    ("ix_sessions_link_id", "sessions", ("link_id",)),
    ("ix_device_keys_session_id", "device_keys", ("session_id",)),
    ("ix_re_runs_meet_id", "re_runs", ("meet_id",)),
    ("ix_re_runs_heat_id", "re_runs", ("heat_id",)),
    ("ix_time_corrections_meet_id", "time_corrections", ("meet_id",)),
    ("ix_corrections_meet_id", "corrections", ("meet_id",)),
    ("ix_windows_closes_at", "windows", ("closes_at",)),
)
OF_THOSE_THAT_NAME_ONE = (
    ("ix_signatures_key_id", "signatures", "key_id"),
    ("ix_cases_joined_to", "cases", "joined_to"),
    ("ix_protests_ruling_id", "protests", "ruling_id"),
    ("ix_windows_decision_id", "windows", "decision_id"),
)


def upgrade() -> None:
    for name, table, columns in INDEXES:
        op.create_index(name, table, list(columns))
    for name, table, column in OF_THOSE_THAT_NAME_ONE:
        named = sa.text(f"{column} IS NOT NULL")
        op.create_index(name, table, [column], sqlite_where=named, postgresql_where=named)


def downgrade() -> None:
    for name, table, _column in (*OF_THOSE_THAT_NAME_ONE, *INDEXES):
        op.drop_index(name, table)
