"""What was measured in each take-over zone; and whether a meet's track is an oval of 200 m.

Revision: 0011, after 0010.
"""

from __future__ import annotations

import math

import sqlalchemy as sa
from alembic import op

from app.store.columns import Instant, Json

OVAL_M, OFF_BY_M = 200, 2

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "zone_surveys",
        sa.Column("meet_id", sa.String(36), nullable=False),
        sa.Column("relay", sa.String(20), nullable=False),
        sa.Column("take_over", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("lines", Json(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("measured_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_zone_surveys_meet_id")),
        sa.PrimaryKeyConstraint("meet_id", "relay", "take_over", name=op.f("pk_zone_surveys")),
    )

    op.add_column("meets", sa.Column("lap_m", sa.Integer(), nullable=False, server_default="400"))
    _find_ovals(op.get_bind())


def _find_ovals(conn: sa.Connection) -> None:
    meets = sa.table("meets", sa.column("id"), sa.column("facts", Json()), sa.column("lap_m"))
    for row in conn.execute(sa.select(meets.c.id, meets.c.facts)).all():
        track = row.facts.get("track")
        if track is None:
            continue
        outwards = 0.3 if track["kerb"] else 0.2
        lap = 2 * track["straight_m"] + 2 * math.pi * (track["radius_m"] + outwards)
        if abs(lap - OVAL_M) <= OFF_BY_M:
            conn.execute(meets.update().where(meets.c.id == row.id).values(lap_m=OVAL_M))


def downgrade() -> None:
    op.drop_column("meets", "lap_m")
    op.drop_table("zone_surveys")
