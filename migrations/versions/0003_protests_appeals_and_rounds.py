"""Rounds that lead to the next, protests, appeals and what is decided on them.

A disqualification may come from a decision instead of a ruling, so two of its columns may be null:
SQLite rebuilds that table for it. Nothing refers to it, and no guard hangs on it.

Revision: 0003, after 0002.
"""

from __future__ import annotations

import json
import re

import sqlalchemy as sa
from alembic import op

from app.store.columns import Instant, Json

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

NEW = (
    "votes",
    "decisions",
    "appeals",
    "protests",
    "time_corrections",
    "re_runs",
    "advancements",
    "lots",
    "rounds",
)
DEPOSIT = re.compile(r"\s*(\d{1,6})\s*([A-Z]{3})\s*|\s*([A-Z]{3})\s*(\d{1,6})\s*")


def upgrade() -> None:
    op.create_table(
        "rounds",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("event_id", sa.String(length=36), nullable=False),
        sa.Column("round", sa.String(length=120), nullable=False),
        sa.Column("round_key", sa.Text(), nullable=False),
        sa.Column("by_place", sa.Integer(), nullable=True),
        sa.Column("by_time", sa.Integer(), nullable=True),
        sa.Column("lanes", sa.Integer(), nullable=True),
        sa.Column("next_round", sa.String(length=120), nullable=True),
        sa.Column("next_key", sa.Text(), nullable=True),
        sa.Column("points", Json(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["event_id"], ["events.id"], name=op.f("fk_rounds_event_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_rounds_meet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rounds")),
        sa.UniqueConstraint("event_id", "round_key", name=op.f("uq_rounds_event_id_round_key")),
    )
    op.create_index("ix_rounds_meet_id", "rounds", ["meet_id"])
    op.create_table(
        "lots",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("event_id", sa.String(length=36), nullable=False),
        sa.Column("round_key", sa.Text(), nullable=False),
        sa.Column("drawn", Json(), nullable=False),
        sa.Column("places", sa.Integer(), nullable=False),
        sa.Column("drawn_by", sa.String(length=120), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("drawn_at", Instant(), nullable=False),
        sa.Column("entered_at", Instant(), nullable=False),
        sa.Column("content", Json(), nullable=False),
        sa.ForeignKeyConstraint(["event_id"], ["events.id"], name=op.f("fk_lots_event_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_lots_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_lots_official_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lots")),
    )
    op.create_index("ix_lots_event_id_round_key", "lots", ["event_id", "round_key"])
    op.create_table(
        "advancements",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("event_id", sa.String(length=36), nullable=False),
        sa.Column("round_key", sa.Text(), nullable=False),
        sa.Column("team_id", sa.String(length=36), nullable=False),
        sa.Column("letter", sa.String(length=2), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("since", Instant(), nullable=False),
        sa.Column("by_decision", sa.String(length=36), nullable=False),
        sa.Column("set_aside_by", sa.String(length=36), nullable=True),
        sa.ForeignKeyConstraint(["event_id"], ["events.id"], name=op.f("fk_advancements_event_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_advancements_meet_id")),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_advancements_team_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_advancements")),
    )
    op.create_index("ix_advancements_event_id_round_key", "advancements", ["event_id", "round_key"])
    op.create_table(
        "re_runs",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("event_id", sa.String(length=36), nullable=False),
        sa.Column("round_key", sa.Text(), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("run_heat_id", sa.String(length=36), nullable=False),
        sa.Column("teams", Json(), nullable=False),
        sa.Column("letter", sa.String(length=2), nullable=False),
        sa.Column("time_to_beat", sa.Integer(), nullable=True),
        sa.Column("added_places", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("since", Instant(), nullable=False),
        sa.Column("by_decision", sa.String(length=36), nullable=False),
        sa.Column("set_aside_by", sa.String(length=36), nullable=True),
        sa.ForeignKeyConstraint(["event_id"], ["events.id"], name=op.f("fk_re_runs_event_id")),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_re_runs_heat_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_re_runs_meet_id")),
        sa.ForeignKeyConstraint(["run_heat_id"], ["heats.id"], name=op.f("fk_re_runs_run_heat_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_re_runs")),
        sa.UniqueConstraint("run_heat_id", name=op.f("uq_re_runs_run_heat_id")),
    )
    op.create_index("ix_re_runs_event_id_round_key", "re_runs", ["event_id", "round_key"])
    op.create_table(
        "time_corrections",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("announcement_id", sa.String(length=36), nullable=False),
        sa.Column("was", Instant(), nullable=False),
        sa.Column("becomes", Instant(), nullable=False),
        sa.Column("reasons", sa.Text(), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("corrected_at", Instant(), nullable=False),
        sa.Column("content", Json(), nullable=False),
        sa.ForeignKeyConstraint(
            ["announcement_id"],
            ["announcements.id"],
            name=op.f("fk_time_corrections_announcement_id"),
        ),
        sa.ForeignKeyConstraint(
            ["meet_id"], ["meets.id"], name=op.f("fk_time_corrections_meet_id")
        ),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_time_corrections_official_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_time_corrections")),
    )
    op.create_index("ix_time_corrections_announcement_id", "time_corrections", ["announcement_id"])
    op.create_table(
        "protests",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("team_id", sa.String(length=36), nullable=False),
        sa.Column("about", sa.String(length=20), nullable=False),
        sa.Column("ruling_id", sa.String(length=36), nullable=True),
        sa.Column("against_id", sa.String(length=36), nullable=True),
        sa.Column("ground", sa.String(length=60), nullable=False),
        sa.Column("window_id", sa.String(length=36), nullable=True),
        sa.Column("lodged_by", sa.String(length=120), nullable=False),
        sa.Column("capacity", sa.String(length=40), nullable=False),
        sa.Column("lodged_at", Instant(), nullable=False),
        sa.Column("entered_at", Instant(), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("allowed_because", sa.Text(), nullable=True),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("withdrawn", Json(), nullable=True),
        sa.Column("content", Json(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["against_id"], ["teams.id"], name=op.f("fk_protests_against_id")),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_protests_heat_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_protests_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_protests_official_id")
        ),
        sa.ForeignKeyConstraint(["ruling_id"], ["rulings.id"], name=op.f("fk_protests_ruling_id")),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_protests_team_id")),
        sa.ForeignKeyConstraint(["window_id"], ["windows.id"], name=op.f("fk_protests_window_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_protests")),
        sa.UniqueConstraint("meet_id", "number", name=op.f("uq_protests_meet_id_number")),
    )
    op.create_index("ix_protests_heat_id", "protests", ["heat_id"])
    op.create_index("ix_protests_meet_id_state", "protests", ["meet_id", "state"])
    op.create_table(
        "appeals",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("protest_id", sa.String(length=36), nullable=False),
        sa.Column("team_id", sa.String(length=36), nullable=False),
        sa.Column("window_id", sa.String(length=36), nullable=True),
        sa.Column("is_referred", sa.Integer(), nullable=False),
        sa.Column("lodged_by", sa.String(length=120), nullable=False),
        sa.Column("lodged_at", Instant(), nullable=False),
        sa.Column("entered_at", Instant(), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("sought", Json(), nullable=False),
        sa.Column("deposit", Json(), nullable=True),
        sa.Column("panel", Json(), nullable=True),
        sa.Column("sitting", sa.Integer(), nullable=False),
        sa.Column("admitted", Json(), nullable=True),
        sa.Column("reopened", Json(), nullable=True),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("withdrawn", Json(), nullable=True),
        sa.Column("content", Json(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_appeals_heat_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_appeals_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_appeals_official_id")
        ),
        sa.ForeignKeyConstraint(
            ["protest_id"], ["protests.id"], name=op.f("fk_appeals_protest_id")
        ),
        sa.ForeignKeyConstraint(["team_id"], ["teams.id"], name=op.f("fk_appeals_team_id")),
        sa.ForeignKeyConstraint(["window_id"], ["windows.id"], name=op.f("fk_appeals_window_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_appeals")),
        sa.UniqueConstraint("meet_id", "number", name=op.f("uq_appeals_meet_id_number")),
    )
    op.create_index("ix_appeals_heat_id", "appeals", ["heat_id"])
    op.create_index("ix_appeals_meet_id_state", "appeals", ["meet_id", "state"])
    op.create_index("ix_appeals_protest_id", "appeals", ["protest_id"])
    op.create_table(
        "decisions",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("heat_id", sa.String(length=36), nullable=False),
        sa.Column("protest_id", sa.String(length=36), nullable=False),
        sa.Column("appeal_id", sa.String(length=36), nullable=True),
        sa.Column("sitting", sa.Integer(), nullable=False),
        sa.Column("instance", sa.String(length=8), nullable=False),
        sa.Column("verdict", sa.String(length=12), nullable=False),
        sa.Column("reasons", sa.Text(), nullable=False),
        sa.Column("heard_because", sa.Text(), nullable=True),
        sa.Column("orders", Json(), nullable=False),
        sa.Column("carried_out", Json(), nullable=False),
        sa.Column("moves", Json(), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("decided_at", Instant(), nullable=False),
        sa.Column("advised_at", Instant(), nullable=True),
        sa.Column("edition", sa.String(length=60), nullable=False),
        sa.Column("statement", Json(), nullable=False),
        sa.Column("statement_digest", sa.String(length=64), nullable=False),
        sa.Column("form_facts", Json(), nullable=False),
        sa.Column("replaced_by", sa.String(length=36), nullable=True),
        sa.Column("content", Json(), nullable=False),
        sa.ForeignKeyConstraint(["appeal_id"], ["appeals.id"], name=op.f("fk_decisions_appeal_id")),
        sa.ForeignKeyConstraint(["heat_id"], ["heats.id"], name=op.f("fk_decisions_heat_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_decisions_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_decisions_official_id")
        ),
        sa.ForeignKeyConstraint(
            ["protest_id"], ["protests.id"], name=op.f("fk_decisions_protest_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_decisions")),
        sa.UniqueConstraint("meet_id", "seq", name=op.f("uq_decisions_meet_id_seq")),
    )
    op.create_index("ix_decisions_appeal_id", "decisions", ["appeal_id"])
    op.create_index("ix_decisions_heat_id", "decisions", ["heat_id"])
    op.create_index("ix_decisions_protest_id", "decisions", ["protest_id"])
    op.create_table(
        "votes",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("meet_id", sa.String(length=36), nullable=False),
        sa.Column("appeal_id", sa.String(length=36), nullable=False),
        sa.Column("sitting", sa.Integer(), nullable=False),
        sa.Column("official_id", sa.String(length=36), nullable=False),
        sa.Column("vote", sa.String(length=12), nullable=False),
        sa.Column("cast_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["appeal_id"], ["appeals.id"], name=op.f("fk_votes_appeal_id")),
        sa.ForeignKeyConstraint(["meet_id"], ["meets.id"], name=op.f("fk_votes_meet_id")),
        sa.ForeignKeyConstraint(
            ["official_id"], ["officials.id"], name=op.f("fk_votes_official_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_votes")),
        sa.UniqueConstraint(
            "appeal_id",
            "sitting",
            "official_id",
            name=op.f("uq_votes_appeal_id_sitting_official_id"),
        ),
    )
    _add_columns()
    with op.batch_alter_table("disqualifications") as table:
        table.add_column(sa.Column("by_decision", sa.String(length=36), nullable=True))
        table.alter_column("case_id", existing_type=sa.String(length=36), nullable=True)
        table.alter_column("by_ruling", existing_type=sa.String(length=36), nullable=True)
    _read_deposits()


def _add_columns() -> None:
    op.add_column("meets", sa.Column("ended_at", Instant(), nullable=True))
    op.add_column(
        "announcements",
        sa.Column("decisions_seen", sa.Integer(), nullable=False, server_default="0"),
    )
    op.add_column("announcements", sa.Column("else_seen", sa.String(length=64), nullable=True))
    # In the engines' own words: the toolkit would add the constraint in a step that SQLite lacks.
    op.execute(
        "ALTER TABLE windows ADD COLUMN team_id VARCHAR(36) "
        "CONSTRAINT fk_windows_team_id REFERENCES teams (id)"
    )
    op.add_column("windows", sa.Column("decision_id", sa.String(length=36), nullable=True))
    op.add_column("windows", sa.Column("counts_from", sa.String(length=20), nullable=True))
    op.create_index("ix_windows_heat_id", "windows", ["heat_id"])
    op.create_index("ix_windows_announcement_id", "windows", ["announcement_id"])


def _read_deposits() -> None:
    """A meet's deposit was free text that counted nowhere; now it is an amount in a currency.

    Text that is not read as one is dropped from the settings: the meet's record still has it.
    """
    conn = op.get_bind()
    meets = sa.table("meets", sa.column("id"), sa.column("facts"))
    for row in conn.execute(sa.select(meets)).all():
        facts = json.loads(row.facts)
        said = facts.get("terms", {}).get("appeal_deposit")
        if isinstance(said, str):
            facts["terms"]["appeal_deposit"] = _deposit(said)
            change = sa.update(meets).where(meets.c.id == row.id)
            conn.execute(change.values(facts=json.dumps(facts, ensure_ascii=False)))


def _deposit(said: str) -> dict[str, object] | None:
    read = DEPOSIT.fullmatch(said)
    if read is None:
        return None
    amount = int(read[1] or read[4])
    return {"amount": amount, "currency": read[2] or read[3]} if amount else None


def downgrade() -> None:
    """What was decided on protests and appeals is lost with its tables."""
    op.execute("DELETE FROM disqualifications WHERE by_ruling IS NULL OR case_id IS NULL")
    with op.batch_alter_table("disqualifications") as table:
        table.drop_column("by_decision")
        table.alter_column("case_id", existing_type=sa.String(length=36), nullable=False)
        table.alter_column("by_ruling", existing_type=sa.String(length=36), nullable=False)
    for name in NEW:
        op.drop_table(name)
    op.drop_index("ix_windows_announcement_id", table_name="windows")
    op.drop_index("ix_windows_heat_id", table_name="windows")
    for table_name, column in (
        ("windows", "counts_from"),
        ("windows", "decision_id"),
        ("windows", "team_id"),
        ("announcements", "else_seen"),
        ("announcements", "decisions_seen"),
        ("meets", "ended_at"),
    ):
        op.execute(f"ALTER TABLE {table_name} DROP COLUMN {column}")
