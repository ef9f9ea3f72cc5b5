"""Runs of a heat, numbers of cases, and flags whose account came under another id.

What was stored before is of the first run where nothing said otherwise; a ruling that took along no
report that is ruled was made on a flag alone. SQLite adds columns and indexes without a rebuild, so
no table loses its triggers.

Revision: 0002, after 0001.
"""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

PARTIAL = {
    "ix_heats_run_again": (
        "heats",
        ["meet_id", "run", "state", "id"],
        "run > 1 OR state = 'to come' AND run > 0",
    ),
    "ix_reports_raised": ("reports", ["heat_id", "official_id"], "state = 'raised'"),
    "ix_rulings_lane_infringements": (
        "rulings",
        ["meet_id", "team_id"],
        "infringement = 'lane_infringement' AND replaced_by IS NULL",
    ),
    "ix_rulings_on_flags": (
        "rulings",
        ["meet_id"],
        "accounts = 0 AND effect <> 'none' AND replaced_by IS NULL",
    ),
}


def upgrade() -> None:
    _add_columns()
    op.create_table(
        "run_lanes",
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("run", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("lane", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("team_id", sa.String(length=36), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_run_lanes_heat_id")),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_run_lanes_team_id")),
        sa.PrimaryKeyConstraint("heat_id", "run", "lane", name=op.f("pk_run_lanes")),
    )
    _fill()
    op.drop_index("ix_reports_case_id", table_name="reports")
    op.create_index("ix_reports_case_id_official_id", "reports", ["case_id", "official_id"])
    op.create_index("ix_cases_meet_id_number", "cases", ["meet_id", "number"], unique=True)
    for name, (table, columns, where) in PARTIAL.items():
        op.create_index(
            name,
            table,
            columns,
            sqlite_where=sa.text(where),
            postgresql_where=sa.text(where),
        )


def _add_columns() -> None:
    op.add_column("cases", sa.Column("number", sa.Integer(), nullable=False, server_default="0"))
    op.add_column(
        "rulings", sa.Column("accounts", sa.Integer(), nullable=False, server_default="0")
    )
    # Whether an earlier phone chose the id is not known: then its account comes under it.
    op.add_column(
        "calls", sa.Column("names_report", sa.Boolean(), nullable=False, server_default=sa.true())
    )
    # In the engines' own words: the toolkit would add the constraint in a step that SQLite lacks.
    op.execute(
        "ALTER TABLE calls ADD COLUMN team_id VARCHAR(36) "
        "CONSTRAINT fk_calls_team_id REFERENCES teams (id)"
    )
    op.execute(
        "ALTER TABLE reports ADD COLUMN came_as VARCHAR(36) "
        "CONSTRAINT fk_reports_came_as REFERENCES reports (id)"
    )


def _fill() -> None:
    _count_runs_that_nobody_started()
    op.execute(
        "INSERT INTO run_lanes (heat_id, run, lane, team_id) "
        "SELECT lanes.heat_id, heats.run, lanes.lane, lanes.team_id "
        "FROM lanes JOIN heats ON heats.id = lanes.heat_id WHERE heats.state <> 'to come'"
    )
    op.execute(
        "UPDATE calls SET team_id = (SELECT lanes.team_id FROM lanes "
        "WHERE lanes.heat_id = calls.heat_id AND lanes.lane = calls.lane)"
    )
    op.execute(
        "UPDATE rulings SET accounts = (SELECT count(*) FROM reports "
        "WHERE reports.case_id = rulings.case_id AND reports.state = 'ruled')"
    )
    op.execute(
        "UPDATE cases SET number = numbered.number FROM (SELECT id, row_number() OVER "
        "(PARTITION BY meet_id ORDER BY opened_at, id) AS number FROM cases) AS numbered "
        "WHERE numbered.id = cases.id"
    )
    for name in ("reports", "calls"):
        _digest_contents(name)


def _count_runs_that_nobody_started() -> None:
    """A heat that was announced though nobody had started it was run: that run counts now.

    What said no run, or 0, is of the first. Where the heat was held back afterwards, all that was
    counted since moves by one.
    """
    numbered = [
        ("reports", "run"),
        ("rulings", "run"),
        ("results", "run"),
        ("calls", "run"),
        ("announcements", "run_seen"),
    ]
    conn = op.get_bind()
    table = sa.table("heats", sa.column("id"), sa.column("run"), sa.column("state"))
    told = sa.table("announcements", sa.column("heat_id"), sa.column("run_seen"))
    unstarted = sa.select(told.c.heat_id).where(told.c.run_seen == 0)
    since = (table.c.run > 0) | (table.c.state == "to come")
    held_back = list(
        conn.execute(sa.select(table.c.id).where(table.c.id.in_(unstarted), since)).scalars()
    )
    for name, column in numbered:
        _move(name, column, held_back)
    conn.execute(sa.update(table).where(table.c.id.in_(held_back)).values(run=table.c.run + 1))
    started = (table.c.run == 0) & (table.c.state != "to come")
    conn.execute(sa.update(table).where(started).values(run=1))


def _move(name: str, column: str, held_back: Sequence[str]) -> None:
    conn = op.get_bind()
    table = sa.table(name, sa.column("heat_id"), sa.column(column))
    run = table.c[column]
    later = table.c.heat_id.in_(held_back) & (run > 0)
    conn.execute(sa.update(table).where(later).values({column: run + 1}))
    # A call that speaks for no post names no run.
    said_nothing = run == 0 if name == "calls" else run.is_(None) | (run == 0)
    conn.execute(sa.update(table).where(said_nothing).values({column: 1}))


def _digest_contents(name: str) -> None:
    """What was sent was kept in full beside what was made of it; its digest tells as much."""
    conn = op.get_bind()
    table = sa.table(name, sa.column("id"), sa.column("content"))
    rows = conn.execute(sa.select(table).where(table.c.content.is_not(None))).all()
    digests = [{"row": row.id, "digest": sha256(row.content.encode()).hexdigest()} for row in rows]
    if digests:
        change = sa.update(table).where(table.c.id == sa.bindparam("row"))
        conn.execute(change.values(content=sa.bindparam("digest")), digests)


def downgrade() -> None:
    """Digests stay digests: what was sent cannot be told from them."""
    for name, (table, _columns, _where) in PARTIAL.items():
        op.drop_index(name, table_name=table)
    op.drop_index("ix_cases_meet_id_number", table_name="cases")
    op.drop_index("ix_reports_case_id_official_id", table_name="reports")
    op.create_index("ix_reports_case_id", "reports", ["case_id"])
    op.drop_table("run_lanes")
    for table, column in (
        ("reports", "came_as"),
        ("calls", "team_id"),
        ("calls", "names_report"),
        ("rulings", "accounts"),
        ("cases", "number"),
    ):
        op.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
